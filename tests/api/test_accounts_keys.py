"""Keys: who makes them, what they show, and what becomes of those revoked or expired."""

from datetime import datetime, timedelta
from typing import Any

import pytest
import time_machine
from django.test import Client
from pytest_django import DjangoAssertNumQueries

from accounts.auth import caller_for_key
from accounts.caller import Scope
from accounts.models import ApiKey
from accounts.services import key_add, key_revoke
from core.clock import now
from core.problems import NotSignedIn
from tests.scene import Api, Scene, key_api, person_api

NEW_KEY = {"name": "Stock system", "scopes": ["jobs.read"]}


@pytest.fixture
def manager(scene: Scene) -> Api:
    return person_api(scene.manager)


def with_key(secret: str) -> Api:
    """Return a system that holds this key."""
    return Api(Client(), {"Authorization": f"Bearer {secret}"})


def test_a_key_is_made_shown_once_and_works(scene: Scene, manager: Api) -> None:
    response = manager.post("/keys", {**NEW_KEY, "scopes": ["jobs.work", "jobs.read"]})
    assert response.status_code == 201
    made = response.json()
    secret = made.pop("key")
    assert made["scopes"] == ["jobs.read", "jobs.work"]
    assert (made["state"], made["expires_at"], made["last_used_at"]) == ("usable", None, None)
    assert secret.startswith(f"{made['prefix']}.")
    assert response.headers["Location"] == f"/api/v1/keys/{made['prefix']}"
    assert manager.get(f"/keys/{made['prefix']}").json() == made
    assert manager.get("/keys").json()["results"] == [made]
    caller = with_key(secret).get("/session").json()
    assert caller["organisation"]["id"] == str(scene.workshop.pk)
    assert caller["scopes"] == ["jobs.read", "jobs.work"]


def test_the_secret_is_nowhere_in_the_database(manager: Api) -> None:
    secret = manager.post("/keys", NEW_KEY).json()["key"]
    row = ApiKey.objects.values().get()
    assert secret.partition(".")[2] not in str(row)
    assert row["id"] == row["prefix"]
    assert row["hashed_key"].startswith("sha512$$")


def test_no_answer_shows_the_hash(manager: Api) -> None:
    made = manager.post("/keys", NEW_KEY)
    hashed = ApiKey.objects.get().hashed_key.partition("$$")[2]
    listed, read = manager.get("/keys"), manager.get(f"/keys/{made.json()['prefix']}")
    for response in (made, listed, read):
        assert hashed not in response.content.decode()


@pytest.mark.parametrize(
    ("who", "expected"),
    [
        ("owner", [200, 201, 200, 204]),
        ("manager", [200, 201, 200, 204]),
        ("valeter", [403, 403, 403, 403]),
        ("staff", [200, 201, 200, 204]),
    ],
)
def test_owner_manager_and_dealers_staff_see_to_keys(
    scene: Scene, who: str, expected: list[int]
) -> None:
    api = person_api(getattr(scene, who))
    prefix = key_add(
        organisation=getattr(scene, who).organisation, name="board", scopes=["jobs.read"]
    ).key.prefix
    answers = [
        api.get("/keys").status_code,
        api.post("/keys", NEW_KEY).status_code,
        api.get(f"/keys/{prefix}").status_code,
        api.delete(f"/keys/{prefix}").status_code,
    ]
    assert answers == expected


def test_a_valeter_is_told_whose_call_it_is(scene: Scene) -> None:
    response = person_api(scene.valeter).post("/keys", NEW_KEY)
    assert response.json()["required_role"] == "manager or owner or staff"
    assert "yours is valeter" in response.json()["detail"]


@pytest.mark.parametrize("side", ["dealer", "workshop"])
def test_a_key_makes_no_keys_and_sees_none(scene: Scene, side: str) -> None:
    api = key_api(getattr(scene, side))
    prefix = ApiKey.objects.get().prefix
    for response in (
        api.get("/keys"),
        api.post("/keys", NEW_KEY),
        api.get(f"/keys/{prefix}"),
        api.delete(f"/keys/{prefix}"),
    ):
        assert response.status_code == 403
        assert "a key cannot make it" in response.json()["detail"]
    assert ApiKey.objects.get().revoked is False


def test_another_organisations_keys_are_not_there(scene: Scene, manager: Api) -> None:
    theirs = key_add(organisation=scene.stranger_workshop, name="theirs", scopes=["jobs.read"])
    dealers = key_add(organisation=scene.dealer, name="dealer's", scopes=["jobs.read"])
    assert manager.get("/keys").json()["results"] == []
    missing = manager.get("/keys/AAAAAAAA").json()
    for fresh in (theirs, dealers):
        for method in ("GET", "DELETE"):
            response = manager.call(method, f"/keys/{fresh.key.prefix}")
            assert response.status_code == 404
            assert response.json()["detail"] == missing["detail"]
    assert not ApiKey.objects.filter(revoked=True).exists()


def test_keys_are_listed_newest_first_in_pages(scene: Scene, manager: Api) -> None:
    for number in range(5):
        with time_machine.travel(now() + timedelta(minutes=number), tick=False):
            key_add(organisation=scene.workshop, name=f"key {number}", scopes=["jobs.read"])
    first = manager.get("/keys?page_size=3").json()
    second = manager.client.get(first["next"]).json()
    names = [key["name"] for key in first["results"] + second["results"]]
    assert names == ["key 4", "key 3", "key 2", "key 1", "key 0"]
    assert second["next"] is None


@pytest.mark.parametrize(
    ("changes", "field", "words"),
    [
        ({"scopes": ["orders.write"]}, "scopes", "Not for a workshop: orders.write."),
        ({"scopes": ["doors.open"]}, "scopes.0", "not a valid choice"),
        ({"scopes": []}, "scopes", "1"),
        ({"name": " "}, "name", "blank"),
        ({"name": "a\u0007b"}, "name", "printable"),
        ({"expires_at": "2020-01-01T00:00:00Z"}, "expires_at", "past"),
        ({"organisation": "x"}, "organisation", "no such field"),
    ],
)
def test_a_key_that_cannot_be_made_names_the_field(
    manager: Api, changes: dict[str, Any], field: str, words: str
) -> None:
    response = manager.post("/keys", {**NEW_KEY, **changes})
    assert response.status_code == 400
    (error,) = response.json()["errors"]
    assert error["field"] == field
    assert words in error["message"]
    assert ApiKey.objects.count() == 0


def test_a_revoked_key_opens_nothing_from_its_next_request_on(manager: Api) -> None:
    made = manager.post("/keys", NEW_KEY).json()
    system = with_key(made["key"])
    assert system.get("/session").status_code == 200
    for _ in range(2):
        assert manager.delete(f"/keys/{made['prefix']}").status_code == 204
    response = system.get("/session")
    assert response.status_code == 401
    assert response.json()["detail"] == "This key was revoked."
    assert response.headers["WWW-Authenticate"].startswith("Bearer")
    assert manager.get(f"/keys/{made['prefix']}").json()["state"] == "revoked"


def test_a_key_opens_nothing_after_its_time(manager: Api) -> None:
    until = now() + timedelta(days=7)
    made = manager.post("/keys", {**NEW_KEY, "expires_at": until}).json()
    system = with_key(made["key"])
    with time_machine.travel(until - timedelta(seconds=1), tick=False):
        assert system.get("/session").status_code == 200
    with time_machine.travel(until, tick=False):
        response = system.get("/session")
        assert response.status_code == 401
        assert "expired" in response.json()["detail"]
        assert manager.get(f"/keys/{made['prefix']}").json()["state"] == "expired"


@pytest.mark.parametrize(
    "header",
    [
        "Bearer",
        "Bearer ",
        "Bearer .",
        "Bearer AAAAAAAA",
        "Bearer AAAAAAAA.BBBBBBBBBBBBBBBBBBBBBBBBBBBBBBBB",
        "Bearer AAAAAAAA.\x00",
        "Bearer \x00AAAAAAA.B",
        "Bearer A\u00e9AAAAAA.B",
        "Bearer \u0661\u0662\u0663\u0664\u0665\u0666\u0667\u0668.B",
        "Bearer ' OR 1=1 --.B",
        "Bearer %s%s%s%s.B",
        "Bearer " + "A" * 100_000,
        "Bearer AAAAAAAA." + "B" * 100_000,
        "Bearer " + "." * 1000,
        "bEARER  AAAAAAAA.B ",
    ],
)
def test_what_is_no_key_is_a_401(scene: Scene, header: str) -> None:
    del scene
    with pytest.raises(NotSignedIn):
        caller_for_key(header)
    response = Api(Client(), {"Authorization": header}).get("/session")
    assert response.status_code == 401
    assert response.json()["type"] == "urn:shutline:problem:not-signed-in"


@pytest.mark.parametrize("ending", ["", "x", "\u00e9", "\x00", ".", "\ud800"])
def test_a_true_prefix_with_a_false_secret_is_a_401_that_says_no_more(
    scene: Scene, ending: str
) -> None:
    fresh = key_add(organisation=scene.dealer, name="till", scopes=["jobs.read"])
    key_revoke(key=fresh.key)
    for presented in (f"{fresh.key.prefix}.{ending}", f"{fresh.secret[:-2]}{ending}"):
        with pytest.raises(NotSignedIn, match="not known here"):
            caller_for_key(f"Bearer {presented}")


def test_a_header_of_another_scheme_is_no_key() -> None:
    for header in ("", "Basic dTpw", "Bearer:x", "Digest Bearer x"):
        assert caller_for_key(header) is None


def test_the_scheme_is_read_in_any_letters_and_spaces_do_no_harm(scene: Scene) -> None:
    secret = key_add(organisation=scene.dealer, name="till", scopes=["jobs.read"]).secret
    caller = caller_for_key(f"BEARER   {secret} ")
    assert caller is not None
    assert caller.organisation_id == scene.dealer.pk


def test_a_key_is_checked_with_one_query(
    scene: Scene, django_assert_num_queries: DjangoAssertNumQueries
) -> None:
    secret = key_add(organisation=scene.dealer, name="till", scopes=["jobs.read"]).secret
    caller_for_key(f"Bearer {secret}")
    with django_assert_num_queries(1):
        caller_for_key(f"Bearer {secret}")
    with django_assert_num_queries(0), pytest.raises(NotSignedIn):
        caller_for_key("Bearer what-is-no-prefix.x")


def test_its_use_is_noted_at_most_once_a_minute(
    scene: Scene, django_assert_num_queries: DjangoAssertNumQueries
) -> None:
    secret = key_add(organisation=scene.dealer, name="till", scopes=["jobs.read"]).secret
    start = now()

    def noted(seconds: float, queries: int) -> float:
        with (
            time_machine.travel(start + timedelta(seconds=seconds), tick=False),
            django_assert_num_queries(queries),
        ):
            caller_for_key(f"Bearer {secret}")
        last = ApiKey.objects.get().last_used_at
        assert isinstance(last, datetime)
        return round((last - start).total_seconds(), 3)

    assert noted(0, 2) == 0
    assert noted(30, 1) == 0
    assert noted(60, 1) == 0
    assert noted(60.5, 2) == 60.5
    assert noted(90, 1) == 60.5


def test_its_last_use_is_shown(manager: Api) -> None:
    made = manager.post("/keys", NEW_KEY).json()
    with_key(made["key"]).get("/session")
    assert manager.get(f"/keys/{made['prefix']}").json()["last_used_at"] is not None


def test_the_secret_is_compared_in_constant_time(
    scene: Scene, monkeypatch: pytest.MonkeyPatch
) -> None:
    fresh = key_add(organisation=scene.dealer, name="till", scopes=["jobs.read"])
    compared: list[tuple[str, str]] = []

    def compare(first: str, second: str) -> bool:
        compared.append((first, second))
        return first == second

    monkeypatch.setattr("rest_framework_api_key.crypto.constant_time_compare", compare)
    assert caller_for_key(f"Bearer {fresh.secret}") is not None
    assert [pair[0] for pair in compared] == [fresh.key.hashed_key]


def test_scopes_are_what_the_key_was_given(scene: Scene) -> None:
    api = key_api(scene.dealer, [Scope.READ])
    assert api.get("/jobs").status_code == 200
    refused = api.post("/work-orders", {})
    assert refused.status_code == 403
    assert refused.json()["required_scope"] == "orders.write"
