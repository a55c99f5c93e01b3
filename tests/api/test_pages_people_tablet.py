"""The workshop's tablet: signed in once, and from then on a PIN changes the person."""

import hashlib
from datetime import timedelta
from typing import Any

import pytest
from django.contrib.sessions.models import Session
from django.test import Client
from pytest_django import Settings

from accounts.auth import DEVICE_COOKIE
from accounts.models import Device, Person
from accounts.services import device_add, device_revoke, person_add, pin_set
from core.clock import now
from core.problems import NotAllowed
from tests.figures import without_ids
from tests.scene import PASSWORD, Scene

PIN = "2580"
EMAIL = "tam@valeter.example"
MANAGER = "milo@manager.example"


def signed_in(email: str = EMAIL) -> Client:
    """Return a browser in which somebody signed in with their password."""
    client = Client()
    client.post("/sign-in", {"email": email, "password": PASSWORD})
    return client


def tablet_of(email: str = MANAGER) -> Client:
    """Return a browser that somebody made the workshop's tablet, and nobody is signed in on."""
    client = signed_in(email)
    assert client.post("/tablet/make", {"name": "Wash bay"}).status_code == 303
    client.post("/sign-out")
    return client


def change(client: Client, person: Person, pin: str = PIN, **more: str) -> Any:
    """Send the form with somebody's PIN."""
    return client.post("/tablet/who", {"person": str(person.pk), "pin": pin, **more})


def name_of(client: Client) -> Any:
    """Return who is signed in, or None."""
    found = client.session.get("_auth_user_id")
    return Person.objects.get(pk=found).name if found else None


@pytest.fixture
def scene(scene: Scene) -> Scene:
    """Return the scene, in which the workshop's people have PINs."""
    for person in (scene.owner, scene.manager, scene.valeter):
        pin_set(person=person, pin=PIN)
    return scene


@pytest.fixture
def tablet(scene: Scene) -> Client:
    """Return the workshop's tablet."""
    del scene
    return tablet_of()


def test_a_browser_becomes_the_tablet_by_a_secret_of_which_the_hash_is_kept(
    scene: Scene, settings: Settings
) -> None:
    settings.SESSION_COOKIE_SECURE = True
    client = signed_in(MANAGER)
    answer = client.post("/tablet/make", {"name": "Wash bay"})
    assert (answer.status_code, answer.headers["Location"]) == (303, "/tablet/who")
    cookie = answer.cookies[DEVICE_COOKIE]
    assert cookie["httponly"]
    assert cookie["secure"]
    assert cookie["samesite"] == "Lax"
    assert cookie["max-age"] == 90 * 24 * 3600
    assert len(cookie.value) == 43  # 256 bits
    device = Device.objects.get()
    assert device.secret_hash == hashlib.sha256(cookie.value.encode()).hexdigest()
    assert (device.workshop, device.name, device.added_by) == (
        scene.workshop,
        "Wash bay",
        "Milo Treen",
    )
    assert cookie.value not in client.get("/tablet/who").content.decode()


def test_a_tablet_needs_a_name(scene: Scene) -> None:
    del scene
    client = signed_in(MANAGER)
    for name in ("", " ", "x" * 61, "a\x00b"):
        answer = client.post("/tablet/make", {"name": name})
        assert answer.status_code == 400
        assert "Not saved yet" in answer.content.decode()
    assert not Device.objects.exists()


def test_the_way_to_make_a_tablet_is_shown_to_whoever_signed_in(scene: Scene) -> None:
    del scene
    said = signed_in(MANAGER).get("/tablet/who").content.decode()
    assert "Make this the workshop's tablet" in said
    assert "PIN of" not in said


def test_nobody_on_a_browser_that_is_no_tablet_gets_the_sign_in(scene: Scene) -> None:
    answer = Client().get("/tablet/who")
    assert answer.status_code == 401
    assert scene.manager.name not in answer.content.decode()
    assert change(Client(), scene.valeter).status_code == 401


def test_without_the_cookie_no_pin_is_taken(scene: Scene) -> None:
    client = signed_in("milo@manager.example")
    answer = change(client, scene.valeter)
    assert answer.status_code == 403
    assert "is not the workshop" in answer.content.decode()
    assert name_of(client) == "Milo Treen"


def test_the_tablet_shows_the_workshops_people_and_nobody_else(
    scene: Scene, tablet: Client
) -> None:
    gone, _ = person_add(
        organisation=scene.workshop, email="g@x.example", name="Gone Already", role="valeter"
    )
    Person.objects.filter(pk=gone.pk).update(is_active=False)
    person_add(
        organisation=scene.stranger_workshop, email="s@x.example", name="Str Anger", role="valeter"
    )
    answer = tablet.get("/tablet/who")
    assert answer.status_code == 200
    assert answer.headers["Cache-Control"] == "no-store, private"
    said = answer.content.decode()
    assert "Tam Brackley" in said
    assert "Odile Farrant" in said
    for name in ("Gone Already", "Str Anger", "Ines Okafor-Lind"):
        assert name not in said


def test_the_right_pin_signs_in_with_the_usual_backend(scene: Scene, tablet: Client) -> None:
    said = tablet.get(f"/tablet/who?person={scene.valeter.pk}").content.decode()
    assert "PIN of Tam Brackley" in said
    assert 'inputmode="numeric"' in said
    answer = change(tablet, scene.valeter)
    assert answer.status_code == 303
    assert answer.headers["Location"] == "/tablet/?person=changed"
    assert name_of(tablet) == "Tam Brackley"
    backend = tablet.session["_auth_user_backend"]
    assert backend == "django.contrib.auth.backends.ModelBackend"
    assert tablet.get("/api/v1/session").json()["name"] == "Tam Brackley"


def test_a_pin_changes_the_person_and_nothing_of_the_one_before_stays(
    scene: Scene, tablet: Client
) -> None:
    change(tablet, scene.valeter)
    session = tablet.session
    session["left behind"] = "a note"
    session.save()
    before = session.session_key
    assert change(tablet, scene.manager).status_code == 303
    assert name_of(tablet) == "Milo Treen"
    assert "left behind" not in tablet.session
    assert tablet.session.session_key != before
    assert not Session.objects.filter(session_key=before).exists()


def test_a_wrong_pin_says_so_and_changes_nobody(scene: Scene, tablet: Client) -> None:
    change(tablet, scene.valeter)
    answer = change(tablet, scene.manager, "2581", onward="/tablet/cars/1")
    assert answer.status_code == 401
    said = answer.content.decode()
    assert "That is not the PIN." in said
    assert "PIN of Milo Treen" in said
    assert 'value="/tablet/cars/1"' in said
    assert "2581" not in without_ids(said)
    assert name_of(tablet) == "Tam Brackley"


def test_too_many_wrong_pins_answer_429_on_the_same_page(scene: Scene, tablet: Client) -> None:
    statuses = [change(tablet, scene.manager, "2581").status_code for _ in range(6)]
    assert statuses == [401, 401, 401, 401, 429, 429]
    answer = change(tablet, scene.manager)
    assert answer.headers["Retry-After"] == "900"
    assert "PIN is not taken for 15 minutes" in answer.content.decode()
    assert name_of(tablet) is None
    tablet.post("/sign-in", {"email": "milo@manager.example", "password": PASSWORD})
    assert name_of(tablet) == "Milo Treen"
    assert change(tablet, scene.manager).status_code == 303


@pytest.mark.parametrize("person", ["", "nobody", "a\x00b", "x" * 500])
def test_a_person_who_is_none_is_refused_with_what_to_do(tablet: Client, person: str) -> None:
    answer = tablet.post("/tablet/who", {"person": person, "pin": PIN})
    assert answer.status_code == 400
    assert "Tap your name first" in answer.content.decode()
    assert tablet.get("/tablet/who", {"person": person.replace("\x00", "")}).status_code == 200


@pytest.mark.parametrize("pin", ["", "a\x00b", "9" * 10_000])
def test_a_pin_that_is_none_is_a_wrong_one(scene: Scene, tablet: Client, pin: str) -> None:
    assert change(tablet, scene.valeter, pin).status_code == 401


def test_strangers_and_those_who_left_never_get_in(scene: Scene, tablet: Client) -> None:
    stranger, _ = person_add(
        organisation=scene.stranger_workshop, email="s@x.example", name="Str Anger", role="valeter"
    )
    pin_set(person=stranger, pin=PIN)
    Person.objects.filter(pk=scene.owner.pk).update(is_active=False)
    for person in (stranger, scene.owner, scene.staff):
        answer = change(tablet, person)
        assert answer.status_code == 401
        assert person.name not in answer.content.decode()
        assert name_of(tablet) is None


def test_every_page_of_the_tablet_asks_who_is_there_and_then_goes_on(
    scene: Scene, tablet: Client
) -> None:
    answer = tablet.get("/tablet/?day=today")
    assert answer.status_code == 401
    said = answer.content.decode()
    assert "Who is here?" in said
    assert f"?person={scene.valeter.pk}&amp;onward=%2Ftablet%2F%3Fday%3Dtoday" in said
    answer = change(tablet, scene.valeter, onward="/tablet/?day=today")
    assert answer.headers["Location"] == "/tablet/?day=today&person=changed"


@pytest.mark.parametrize(
    "onward",
    ["//evil.example/tablet/", "https://evil.example", "javascript:alert(1)", "/desk/", "/\\evil"],
)
def test_a_pin_leads_on_to_the_tablet_only(scene: Scene, tablet: Client, onward: str) -> None:
    answer = change(tablet, scene.valeter, onward=onward)
    assert answer.headers["Location"] == "/tablet/?person=changed"


def test_a_tablet_taken_back_takes_no_pin_and_ends_what_was_signed_in(
    scene: Scene, tablet: Client
) -> None:
    second_tablet, elsewhere = tablet_of(), signed_in()
    change(tablet, scene.valeter)
    change(second_tablet, scene.valeter)
    device_revoke(device=Device.objects.order_by("added_at")[0])
    assert tablet.get("/api/v1/session").status_code == 401
    assert change(tablet, scene.valeter).status_code == 401
    assert "Who is here?" not in tablet.get("/tablet/").content.decode()
    assert second_tablet.get("/api/v1/session").status_code == 200
    assert elsewhere.get("/api/v1/session").status_code == 200


def test_a_password_typed_on_the_tablet_ends_with_it_too(scene: Scene, tablet: Client) -> None:
    del scene
    tablet.post("/sign-in", {"email": EMAIL, "password": PASSWORD})
    assert name_of(tablet) == "Tam Brackley"
    device_revoke(device=Device.objects.get())
    assert tablet.get("/api/v1/session").status_code == 401


def test_a_made_up_secret_is_no_tablet(scene: Scene) -> None:
    client = Client()
    for secret in ("", "x", "x" * 5000, "\x00", Device.objects.count()):
        client.cookies[DEVICE_COOKIE] = str(secret)
        assert "Who is here?" not in client.get("/tablet/").content.decode()
        assert change(client, scene.valeter).status_code == 401


def test_another_workshops_tablet_is_none_to_somebody_signed_in(scene: Scene) -> None:
    person_add(
        organisation=scene.stranger_workshop,
        email="s@x.example",
        name="Str Anger",
        role="owner",
        password=PASSWORD,
    )
    client = tablet_of("s@x.example")
    client.post("/sign-in", {"email": EMAIL, "password": PASSWORD})
    said = client.get("/tablet/who").content.decode()
    assert "Str Anger" not in said
    assert "Who is here?" not in said
    assert change(client, scene.valeter).status_code == 403


def test_somebody_switched_off_is_out_at_the_next_tap(scene: Scene, tablet: Client) -> None:
    change(tablet, scene.valeter)
    assert tablet.get("/me").status_code == 200
    Person.objects.filter(pk=scene.valeter.pk).update(is_active=False)
    assert tablet.get("/tablet/").status_code == 401
    assert tablet.get("/me").status_code == 401


def test_for_keys_people_and_tablets_a_pin_is_not_enough(scene: Scene, tablet: Client) -> None:
    change(tablet, scene.owner)
    for address in ("/keys", "/keys/new", "/desk/people", "/desk/dealers", "/desk/tablets"):
        answer = tablet.get(address)
        assert answer.status_code == 401
        assert "Here a PIN is not enough." in answer.content.decode()
    refused = tablet.post("/keys/new", {"name": "Till", "scopes": "jobs.read", "lasts": ""})
    assert refused.status_code == 401
    assert tablet.post("/tablet/make", {"name": "Another"}).status_code == 401
    assert not scene.workshop.api_keys.exists()
    answer = tablet.post(
        "/sign-in",
        {"email": "odile@owner.example", "password": PASSWORD, "onward": "/desk/people"},
    )
    assert answer.headers["Location"] == "/desk/people"
    assert tablet.get("/desk/people").status_code == 200


def test_a_tablet_in_use_stays_one_and_says_when_it_was_used(scene: Scene, tablet: Client) -> None:
    week_ago = now() - timedelta(days=7)
    Device.objects.update(last_used_at=week_ago)
    answer = change(tablet, scene.valeter)
    assert answer.cookies[DEVICE_COOKIE]["max-age"] == 90 * 24 * 3600
    assert Device.objects.filter(last_used_at__gt=week_ago).exists()


def test_a_tablet_left_lying_for_ninety_days_is_none_any_more(scene: Scene, tablet: Client) -> None:
    Device.objects.update(last_used_at=now() - timedelta(days=91))
    assert change(tablet, scene.valeter).status_code == 401
    assert "Who is here?" not in tablet.get("/tablet/").content.decode()


def test_the_secret_is_new_once_a_day_and_the_old_one_ends_when_the_new_one_came_back(
    scene: Scene, tablet: Client
) -> None:
    first = tablet.cookies[DEVICE_COOKIE].value
    change(tablet, scene.valeter)
    assert tablet.cookies[DEVICE_COOKIE].value == first
    Device.objects.update(secret_at=now() - timedelta(days=2))
    change(tablet, scene.valeter)
    second = tablet.cookies[DEVICE_COOKIE].value
    assert second != first
    lost = Client()  # on which the answer with the new secret never arrived
    lost.cookies[DEVICE_COOKIE] = first
    assert change(lost, scene.valeter).status_code == 303
    assert lost.cookies[DEVICE_COOKIE].value == first
    assert change(tablet, scene.valeter).status_code == 303
    copied = Client()
    copied.cookies[DEVICE_COOKIE] = first
    assert change(copied, scene.valeter).status_code == 401


def test_a_lost_answer_locks_no_tablet_out_the_day_after(scene: Scene, tablet: Client) -> None:
    first = tablet.cookies[DEVICE_COOKIE].value
    for _ in range(3):
        Device.objects.update(secret_at=now() - timedelta(days=2))
        tablet.cookies[DEVICE_COOKIE] = first
        assert change(tablet, scene.valeter).status_code == 303
    assert change(tablet, scene.valeter).status_code == 303


def test_a_valeter_makes_no_tablet(scene: Scene) -> None:
    client = signed_in()
    assert client.post("/tablet/make", {"name": "Mine"}).status_code == 403
    assert "Make this the workshop" not in client.get("/tablet/who").content.decode()
    with pytest.raises(NotAllowed):
        device_add(workshop=scene.workshop, name="Mine", person=scene.valeter)
    with pytest.raises(NotAllowed):
        device_add(workshop=scene.stranger_workshop, name="Mine", person=scene.owner)
    assert not Device.objects.exists()


def test_signing_out_on_the_tablet_leads_to_its_people(scene: Scene, tablet: Client) -> None:
    change(tablet, scene.valeter)
    assert tablet.post("/sign-out").headers["Location"] == "/tablet/who"


def test_a_sign_in_that_leads_to_the_tablet_says_that_the_person_changed(scene: Scene) -> None:
    del scene
    answer = Client().post("/sign-in", {"email": EMAIL, "password": PASSWORD})
    assert answer.headers["Location"] == "/tablet/?person=changed"
