"""What a sign-in may do by how it was shown: every route of pages and API against one table."""

from datetime import datetime, timedelta
from typing import Any

import pytest
from django.test import Client
from pytest_django import Settings

from accounts.api.base import ApiView
from accounts.models import ApiKey, Device, Person
from accounts.pages.base import PageView
from accounts.proofs import FRESH_FOR, TABLE, Proof, row_for
from accounts.services import device_add, pin_set
from core import clock
from tests.api.test_callers import BODIES, ask
from tests.api.world import PLACE, World, routes
from tests.scene import PASSWORD, Api, Scene, with_proof

pytestmark = pytest.mark.django_db
PIN = "2580"
OWNER = "odile@owner.example"
# What nobody's sign-in is asked for: it stands open, or a link is the permission.
OPEN = {
    "/healthz", "/readyz", "/metrics", "/api/openapi.json", "/api/docs", "/api/reference",
    "/sign-in", "/decide/{token}", "/decide/{token}/photos/{photo_id}/{size}",
    "/tablet/worker.js", "/tablet/manifest.webmanifest",
}  # fmt: skip


def by_pin(scene: Scene, person: Person) -> Client:
    """Return a tablet of the workshop on which somebody came in by PIN."""
    pin_set(person=person, pin=PIN)
    fresh = device_add(workshop=scene.workshop, name="Bay 1", person=scene.owner)
    client = Client()
    client.cookies["shutline_device"] = fresh.secret
    answer = client.post("/tablet/who", {"person": str(person.pk), "pin": PIN})
    assert answer.status_code == 303
    return client


def by_password(email: str = OWNER) -> Client:
    client = Client()
    assert client.post("/sign-in", {"email": email, "password": PASSWORD}).status_code == 303
    return client


def later(monkeypatch: pytest.MonkeyPatch, by: timedelta) -> None:
    """Move the time of a sign-in's proof back."""
    real = clock.now

    def moved() -> datetime:
        return real() + by

    monkeypatch.setattr("accounts.proofs.now", moved)


def refused(answer: Any, proof: Proof) -> bool:
    """Return whether it was refused for want of a proof, and check that it says what to do."""
    if "json" in answer.headers.get("Content-Type", ""):
        said = answer.json()
        if said.get("type") != "urn:shutline:problem:password-needed":
            return False
        assert answer.status_code == 403
        assert "POST /api/v1/session" in said["next_step"]
        assert said["required_proof"] == proof.name.lower()
        return True
    return answer.status_code == 401 and b"Your password, please" in answer.content


def test_every_route_has_a_row_and_every_row_a_route() -> None:
    asked = {route.template for route in routes()} - OPEN
    named = {template: row_for(template) for template in asked}
    assert [template for template, row in named.items() if row is None] == []
    assert {row.begins for row in named.values() if row} == {row.begins for row in TABLE}
    assert {route.template for route in routes()} >= OPEN


def test_what_has_no_row_wants_a_fresh_password() -> None:
    assert row_for("/desk/something-new") is None
    assert row_for("/api/v1/keysmith") is None


@pytest.mark.parametrize("proof", [Proof.PIN, Proof.PASSWORD])
def test_every_route_of_pages_and_api_asks_what_the_table_says(proof: Proof) -> None:
    world = World()
    wrong = {}
    for route in routes():
        if route.template in OPEN or route.access is None:
            continue
        row = row_for(route.template)
        assert row is not None
        wanted = row.look if route.method == "GET" else row.change
        for person in (world.scene.owner, world.scene.staff):
            side = "dealer" if person == world.scene.staff else "workshop"
            roles = route.access.roles or {person.role}
            if side not in route.access.sides or person.role not in roles:
                continue
            api = Api(with_proof(person, proof, minutes_ago=11))
            answer = ask(api, route.name, world.address(route.template, side))
            if refused(answer, wanted) != (proof < wanted):
                wrong[route.name, side] = (answer.status_code, answer.content[:200])
    assert wrong == {}


def test_a_pin_makes_no_key_by_the_api(scene: Scene) -> None:
    client = by_pin(scene, scene.owner)
    body = {"name": "way in", "scopes": ["jobs.read"]}
    answer = Api(client).post("/keys", body)
    assert answer.status_code == 403
    assert refused(answer, Proof.FRESH_PASSWORD)
    assert not ApiKey.objects.exists()
    account = Api(client).patch(f"/trade-accounts/{scene.account.pk}", {"accepts_by_itself": False})
    assert refused(account, Proof.FRESH_PASSWORD)
    hook = Api(client).post("/webhook-endpoints", {"url": "https://in.example/"})
    assert refused(hook, Proof.FRESH_PASSWORD)


def test_who_shows_the_password_may_do_it_for_ten_minutes(
    scene: Scene, monkeypatch: pytest.MonkeyPatch
) -> None:
    client = by_pin(scene, scene.owner)
    body = {"name": "Till", "scopes": ["jobs.read"]}
    assert Api(client).post("/keys", body).status_code == 403
    signed = Api(client).post("/session", {"email": OWNER, "password": PASSWORD})
    assert signed.status_code == 200
    assert Api(client).post("/keys", body).status_code == 201
    later(monkeypatch, FRESH_FOR + timedelta(seconds=5))
    assert refused(Api(client).post("/keys", body), Proof.FRESH_PASSWORD)
    assert Api(client).get("/keys").status_code == 200


def test_a_password_of_hours_ago_is_asked_for_again_and_what_was_typed_is_kept(
    scene: Scene, monkeypatch: pytest.MonkeyPatch
) -> None:
    client = by_password()
    later(monkeypatch, timedelta(hours=3))
    typed = {"name": "Till <b>", "scopes": ["jobs.read", "jobs.work"], "lasts": "90"}
    asked = client.post("/keys/new", typed)
    said = asked.content.decode()
    assert asked.status_code == 401
    assert "Your password, please" in said
    assert 'value="Till &lt;b&gt;"' in said
    assert said.count('name="scopes"') == 2
    assert not ApiKey.objects.exists()
    wrong = client.post("/keys/new", {**typed, "password_again": "not this one"})
    assert wrong.status_code == 401
    assert "That is not your password." in wrong.content.decode()
    assert "not this one" not in wrong.content.decode()
    assert client.post("/keys/new", {**typed, "password_again": PASSWORD}).status_code == 200
    assert ApiKey.objects.get().scopes == ["jobs.read", "jobs.work"]
    assert ApiKey.objects.get().made_by == scene.owner
    assert client.post("/keys/new", typed).status_code == 200


def test_a_pin_goes_on_with_the_password_where_it_was(scene: Scene) -> None:
    client = by_pin(scene, scene.owner)
    before = client.session.session_key
    asked = client.get("/keys/new")
    assert asked.status_code == 401
    assert f'value="{OWNER}"' in asked.content.decode()
    typed = {"name": "Till", "scopes": "jobs.read", "lasts": "90"}
    assert client.post("/keys/new", {**typed, "password_again": PASSWORD}).status_code == 200
    assert client.session.session_key != before
    assert client.get("/keys").status_code == 200


def test_somebody_elses_password_does_not_do(scene: Scene) -> None:
    client = by_pin(scene, scene.manager)
    Person.objects.get(pk=scene.owner.pk).set_password("another quiet one")
    typed = {"name": "Till", "scopes": "jobs.read", "password_again": "another quiet one"}
    assert client.post("/keys/new", typed).status_code == 401
    assert not ApiKey.objects.exists()


def test_a_key_is_asked_for_no_password(scene: Scene) -> None:
    api = scene.workshop_api()
    assert (
        api.post(
            "/email-recipients", {"email": "a@b.example", "event_types": ["job.ready"]}
        ).status_code
        == 201
    )


def test_wrong_passwords_typed_again_are_counted(scene: Scene, settings: Settings) -> None:
    settings.AXES_ENABLED = True
    client = by_pin(scene, scene.owner)
    statuses = [
        client.post("/tablet/make", {"name": "x", "password_again": f"wrong {number}"}).status_code
        for number in range(9)
    ]
    assert statuses[-1] == 429
    assert Device.objects.count() == 1
    del scene


def test_every_body_is_of_a_route() -> None:
    assert {PLACE.sub("{}", row) for row in BODIES} <= {route.shape for route in routes()}


def test_the_views_of_pages_and_api_are_all_asked() -> None:
    for route in routes():
        if route.template in OPEN:
            continue
        assert issubclass(route.view, (ApiView, PageView)), route
