"""Guessing at passwords and PINs: stopped by address, by person and in all, and costing little."""

from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
import time_machine
from django.contrib.sessions.models import Session
from django.test import Client
from pytest_django import Settings

from accounts import hashing
from accounts.hashing import Places
from accounts.models import Guesses, KnownPlace
from accounts.services import device_add, pin_set
from accounts.services.guesses import PLACE_KEPT
from accounts.tasks import purge_sign_ins
from core.client_address import neighbourhood
from core.clock import now
from tests.scene import PASSWORD, Scene

NOON = datetime(2027, 3, 1, 12, 5, tzinfo=UTC)
SHOP, HOTEL = "192.0.2.10", "198.51.100.7"
LIMIT = 3


@pytest.fixture(autouse=True)
def few(settings: Settings) -> Iterator[None]:
    """Make three wrong ones too many, at a moment that stands still."""
    settings.GUESSES_PER_ADDRESS = settings.GUESSES_PER_PERSON = LIMIT
    settings.GUESSES_IN_ALL = 100
    with time_machine.travel(NOON, tick=False):
        yield


def sign_in(email: str, password: str = PASSWORD, *, address: str) -> Any:
    """Sign in by the API from an address, in a browser of its own."""
    body = {"email": email, "password": password}
    return Client(REMOTE_ADDR=address).post(
        "/api/v1/session", body, content_type="application/json"
    )


def guess(email: str, *, address: str, times: int = LIMIT) -> list[int]:
    return [sign_in(email, "wrong", address=address).status_code for _ in range(times)]


def test_one_address_that_guesses_at_many_people_is_stopped(scene: Scene) -> None:
    people = [scene.owner, scene.valeter, scene.staff, scene.manager]
    found = [guess(person.email, address=HOTEL, times=1)[0] for person in people]
    assert found == [401] * LIMIT + [429]
    refused = sign_in(scene.manager.email, address=HOTEL)
    assert refused.status_code == 429
    assert refused.headers["Retry-After"] == "600"  # the quarter of an hour ends at 12:15
    assert "10 minutes" in refused.json()["next_step"]
    assert sign_in(scene.manager.email, address=SHOP).status_code == 200


def test_many_addresses_that_guess_at_one_person_are_stopped(scene: Scene) -> None:
    found = [guess(scene.manager.email, address=f"203.0.113.{n}", times=1)[0] for n in range(5)]
    assert found == [401] * LIMIT + [429] * 2
    assert sign_in(scene.manager.email, address=HOTEL).status_code == 429


def test_nobody_locks_a_person_out_of_where_they_signed_in_before(scene: Scene) -> None:
    assert sign_in(scene.manager.email, address=SHOP).status_code == 200
    for number in range(2 * LIMIT):
        guess(scene.manager.email, address=f"203.0.113.{number}", times=1)
    assert sign_in(scene.manager.email, address=HOTEL).status_code == 429
    assert sign_in(scene.manager.email, address=SHOP).status_code == 200
    assert sign_in(scene.manager.email.upper(), address=SHOP).status_code == 200


def test_too_many_in_all_stop_strangers_only(scene: Scene, settings: Settings) -> None:
    assert sign_in(scene.manager.email, address=SHOP).status_code == 200
    settings.GUESSES_IN_ALL = 2
    for number in range(2):
        guess(f"nobody{number}@fernhollow.example", address=f"203.0.113.{number}", times=1)
    assert sign_in(scene.owner.email, address=HOTEL).status_code == 429
    assert sign_in(scene.manager.email, address=SHOP).status_code == 200


def test_tries_that_are_refused_count_no_further(scene: Scene) -> None:
    guess(scene.manager.email, address=HOTEL, times=4 * LIMIT)
    assert {row.count for row in Guesses.objects.all()} == {LIMIT}


def test_the_next_quarter_of_an_hour_begins_at_nought(scene: Scene) -> None:
    guess(scene.manager.email, address=HOTEL, times=LIMIT)
    with time_machine.travel(NOON + timedelta(minutes=15), tick=False):
        assert sign_in(scene.manager.email, address=HOTEL).status_code == 200


def test_the_operators_sign_in_and_the_page_are_held_to_the_same(scene: Scene) -> None:
    guess(scene.manager.email, address=HOTEL)
    browser = Client(REMOTE_ADDR=HOTEL)
    page = browser.post("/sign-in", {"email": scene.owner.email, "password": PASSWORD})
    assert page.status_code == 429
    operator = {"username": "operator@shutline.example", "password": PASSWORD}
    answer = browser.post("/admin/login/", operator, headers={"Accept": "text/html"})
    assert answer.status_code == 429
    assert answer.headers["Retry-After"] == "600"
    assert "Too many wrong passwords" in answer.text


def test_pins_are_counted_by_address_too(scene: Scene) -> None:
    fresh = device_add(workshop=scene.workshop, name="Bay tablet", person=scene.owner)
    people = [scene.owner, scene.manager, scene.valeter]
    for person in people:
        pin_set(person=person, pin="2580")
    browser = Client(REMOTE_ADDR=SHOP)
    browser.cookies["shutline_device"] = fresh.secret

    def try_pin(person: Any, pin: str) -> int:
        answer = browser.post("/tablet/who", {"person": str(person.pk), "pin": pin})
        return int(answer.status_code)

    assert [try_pin(person, "1379") for person in people] == [401] * LIMIT
    assert try_pin(scene.owner, "2580") == 429
    assert sign_in(scene.owner.email, address=SHOP).status_code == 200  # a count of its own


def test_where_somebody_signed_in_is_kept_as_a_hash_once(scene: Scene) -> None:
    for address in (SHOP, SHOP, HOTEL):
        sign_in(scene.manager.email, address=address)
    places = KnownPlace.objects.filter(person=scene.manager)
    assert places.count() == 2
    assert not places.filter(place__contains=SHOP).exists()


def test_a_whole_network_of_addresses_is_one_place() -> None:
    assert neighbourhood("2001:db8:1:2::9") == neighbourhood("2001:db8:1:2:ffff::1")
    assert neighbourhood("2001:db8:1:2::9") != neighbourhood("2001:db8:1:3::9")
    assert neighbourhood("::ffff:192.0.2.10") == neighbourhood(SHOP) == SHOP


def test_what_is_over_is_deleted_by_a_sweep(scene: Scene) -> None:
    sign_in(scene.manager.email, address=SHOP)
    guess(scene.owner.email, address=HOTEL, times=1)
    purge_sign_ins()
    assert (Session.objects.count(), KnownPlace.objects.count()) == (1, 1)
    assert Guesses.objects.count() == 3
    with time_machine.travel(now() + PLACE_KEPT + timedelta(days=1), tick=False):
        purge_sign_ins()
    for model in (Session, KnownPlace, Guesses):
        assert not model.objects.exists()


@pytest.fixture
def full(scene: Scene, settings: Settings, monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    """Take every place where passwords are hashed; the manager's is hashed there."""
    settings.PASSWORD_HASHERS = ["accounts.hashing.BoundedHasher"]
    scene.manager.set_password(PASSWORD)
    scene.manager.save()
    places = Places(waiting=1, working=1)
    monkeypatch.setattr(hashing, "PLACES", places)
    with places.taken():
        yield


@pytest.mark.usefixtures("full")
def test_guessers_beyond_the_places_are_told_at_once_and_others_are_served(
    client: Client, scene: Scene
) -> None:
    for address in ("/sign-in", "/admin/login/"):
        sent = {"email": scene.manager.email, "username": "x", "password": PASSWORD}
        assert client.post(address, sent).status_code == 429, address
    for email in (scene.manager.email, "nobody@fernhollow.example"):
        for password in (PASSWORD, "wrong"):
            answer = sign_in(email, password, address=SHOP)
            assert (answer.status_code, answer.headers["Retry-After"]) == (429, "2"), email
    assert client.get("/healthz").status_code == 200
    assert not Guesses.objects.exists()


def test_a_place_is_free_again_however_it_ended() -> None:
    places = Places(waiting=1, working=1)
    with pytest.raises(ZeroDivisionError), places.taken():
        raise ZeroDivisionError
    with places.taken():
        pass
