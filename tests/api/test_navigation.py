"""The bar of places: each app adds its own, for those who may go there."""

import re

import pytest
from django.test import Client
from django.urls import reverse

from accounts import navigation
from accounts.navigation import Audience, Place, places_for, register_beginning, register_places
from tests.scene import Scene, person_api


def bar_of(client: Client, address: str) -> list[str]:
    """Return the words in the bar of a page, and mark where one is."""
    page = client.get(address).content.decode()
    links = re.findall(
        r'<a\s+href="([^"]+)"( aria-current="page")?>([^<]+)</a>', page.split("</nav>")[0]
    )
    return [f"{words}*" if here else words for _, here, words in links]


@pytest.mark.parametrize(
    ("who", "address", "bar"),
    [
        ("staff", "/dashboard/", ["Your cars*", "Send a car", "Notices", "Keys"]),
        (
            "manager",
            "/desk/due",
            ["All cars", "Waiting", "Due*", "Flow", "Day&#x27;s log", "Set up", "Tablet"],
        ),
        ("valeter", "/me", ["Tablet"]),
        ("valeter", "/tablet/", ["Today&#x27;s cars*"]),
    ],
)
def test_everybody_has_the_places_of_their_own_in_order(
    scene: Scene, who: str, address: str, bar: list[str]
) -> None:
    assert bar_of(person_api(getattr(scene, who)).client, address) == bar


@pytest.mark.parametrize("audience", Audience)
def test_every_place_has_an_address(audience: Audience) -> None:
    assert places_for(audience)
    assert [reverse(place.url_name) for place in places_for(audience)]


def test_a_place_added_twice_stands_once_and_no_two_stand_at_one_rank(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(navigation, "_places", {Audience.OFFICE: []})
    late, early = Place("desk_due", "Due", 20), Place("desk", "All cars", 10)
    register_places(Audience.OFFICE, late, early)
    register_places(Audience.OFFICE, early)
    assert places_for(Audience.OFFICE) == [early, late]
    with pytest.raises(ValueError, match="stand at 10"):
        register_places(Audience.OFFICE, Place("desk_log", "Day's log", 10))


def test_a_day_begins_in_one_place(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(navigation, "_beginnings", {})
    register_beginning(Audience.OFFICE, "desk")
    register_beginning(Audience.OFFICE, "desk")
    with pytest.raises(ValueError, match="desk already"):
        register_beginning(Audience.OFFICE, "desk_due")
