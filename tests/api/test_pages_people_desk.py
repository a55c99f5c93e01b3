"""The desk's pages about people: who may change whom, and what a password is shown for."""

import re
from concurrent.futures import ThreadPoolExecutor
from threading import Barrier
from typing import Any

import pytest
from django.db import connection
from django.test import Client

from accounts.auth import caller_for_person
from accounts.models import Person
from accounts.services import person_add, person_change, pin_set
from core.problems import Conflict
from tests.figures import without_ids
from tests.patience import PATIENCE_SECONDS
from tests.scene import PASSWORD, Scene, make_scene, person_api

NEVE = {"name": "Neve Sallow", "email": "Neve@Fernhollow.example", "role": "valeter"}


def secret_in(answer: Any) -> str:
    """Return the secret that an answer shows, and see that nothing else holds it."""
    said = answer.content.decode()
    (secret,) = re.findall(r"data-secret>([^<]+)<", said)
    assert "shown now and never again" in said
    assert said.count(secret) == 1
    assert answer.headers["Cache-Control"] == "no-store, private"
    assert secret not in str(answer.cookies)
    assert "Location" not in answer.headers
    return str(secret)


def opens(email: str, password: str) -> bool:
    """Return whether somebody signs in with this password."""
    return bool(
        Client().post("/sign-in", {"email": email, "password": password}).status_code == 303
    )


@pytest.fixture
def owner(scene: Scene) -> Client:
    return person_api(scene.owner).client


@pytest.fixture
def manager(scene: Scene) -> Client:
    return person_api(scene.manager).client


def page_of(person: Person, what: str = "") -> str:
    """Return the address of somebody's page."""
    return f"/desk/people/{person.pk}{what}"


def changed(client: Client, person: Person, **changes: str) -> Any:
    """Send the form about somebody with changes; `is_active=""` leaves the box unticked."""
    form = {"name": person.name, "role": person.role, "is_active": "on", **changes}
    return client.post(page_of(person), {name: value for name, value in form.items() if value})


def test_the_list_shows_everybody_with_role_and_pin_but_nobody_elses(
    scene: Scene, manager: Client
) -> None:
    pin_set(person=scene.valeter, pin="2580")
    Person.objects.filter(pk=scene.owner.pk).update(is_active=False)
    said = manager.get("/desk/people").content.decode()
    for words in ("Odile Farrant", "tam@valeter.example", "switched off", ">set<", ">none<"):
        assert words in said
    assert "Ines Okafor-Lind" not in said


def test_somebody_new_gets_a_password_that_is_shown_once(scene: Scene, manager: Client) -> None:
    answer = manager.post("/desk/people/new", NEVE)
    assert answer.status_code == 200
    password = secret_in(answer)
    person = Person.objects.get(email="neve@fernhollow.example")
    assert (person.name, person.role, person.organisation) == (
        "Neve Sallow",
        "valeter",
        scene.workshop,
    )
    assert opens("neve@fernhollow.example", password)
    assert password not in manager.get("/desk/people").content.decode()
    assert password not in manager.get(page_of(person)).content.decode()


def test_a_form_sent_twice_makes_nobody_twice(scene: Scene, manager: Client) -> None:
    del scene
    manager.post("/desk/people/new", NEVE)
    again = manager.post("/desk/people/new", NEVE)
    assert again.status_code == 409
    said = again.content.decode()
    assert "signs in as" in said
    assert 'value="Neve Sallow"' in said
    assert "data-secret" not in said


@pytest.mark.parametrize(
    ("form", "wrong"),
    [
        ({}, {"name", "email", "role"}),
        ({**NEVE, "name": "x" * 121, "email": "neve"}, {"name", "email"}),
        ({**NEVE, "name": "a\x00b"}, {"name"}),
        ({**NEVE, "role": "staff"}, {"role"}),
        ({**NEVE, "role": "king"}, {"role"}),
    ],
)
def test_a_form_that_is_wrong_names_every_field_and_keeps_the_rest(
    scene: Scene, owner: Client, form: dict[str, str], wrong: set[str]
) -> None:
    answer = owner.post("/desk/people/new", form)
    assert answer.status_code == 400
    said = answer.content.decode()
    assert set(re.findall(r'<li><a href="#(\w+)"', said)) == wrong
    if form and "email" not in wrong:
        assert 'value="Neve@Fernhollow.example"' in said
    assert Person.objects.filter(organisation=scene.workshop).count() == 3


def test_a_name_with_markup_shows_as_text(scene: Scene, owner: Client) -> None:
    name = "<script>alert(1)</script>"
    changed(owner, scene.valeter, name=name)
    for address in ("/desk/people", page_of(scene.valeter)):
        said = owner.get(address).content.decode()
        assert name not in said
        assert "&lt;script&gt;alert(1)" in said


def test_a_change_is_saved(scene: Scene, manager: Client) -> None:
    answer = changed(manager, scene.valeter, name="Tam B.", role="manager")
    assert (answer.status_code, answer.headers["Location"]) == (303, "/desk/people")
    person = Person.objects.get(pk=scene.valeter.pk)
    assert (person.name, person.role, person.is_active) == ("Tam B.", "manager", True)


def test_somebody_switched_off_is_out_at_once_and_may_be_switched_on_again(
    scene: Scene, manager: Client
) -> None:
    tam = person_api(scene.valeter)
    assert tam.client.get("/me").status_code == 200
    assert changed(manager, scene.valeter, is_active="").status_code == 303
    assert tam.client.get("/me").status_code == 401
    assert tam.get("/jobs").status_code == 401
    assert not opens(scene.valeter.email, PASSWORD)
    assert changed(manager, scene.valeter).status_code == 303
    assert opens(scene.valeter.email, PASSWORD)


def test_a_manager_neither_makes_nor_changes_an_owner(scene: Scene, manager: Client) -> None:
    refused = [
        manager.post("/desk/people/new", {**NEVE, "role": "owner"}),
        changed(manager, scene.manager, role="owner"),
        changed(manager, scene.owner, role="manager"),
        changed(manager, scene.owner, is_active=""),
        manager.post(page_of(scene.owner, "/password")),
    ]
    assert [answer.status_code for answer in refused] == [403] * 5
    for answer in refused:
        assert "Only an owner" in answer.content.decode()
    assert opens(scene.owner.email, PASSWORD)
    assert list(Person.objects.filter(role="owner")) == [scene.owner]
    said = manager.get(page_of(scene.owner)).content.decode()
    assert "Only an owner changes" in said
    assert "Make a new password" not in said


def test_an_owner_makes_another_and_may_then_step_back(scene: Scene, owner: Client) -> None:
    refused = changed(owner, scene.owner, role="valeter")
    assert refused.status_code == 409
    assert "Make somebody else an owner first." in refused.content.decode()
    assert changed(owner, scene.manager, role="owner").status_code == 303
    assert changed(owner, scene.owner, role="valeter").status_code == 303
    assert owner.get("/desk/people").status_code == 403


def test_an_owner_who_is_switched_off_does_not_count(scene: Scene, owner: Client) -> None:
    changed(owner, scene.manager, role="owner")
    changed(owner, scene.manager, role="owner", is_active="")
    assert changed(owner, scene.owner, role="manager").status_code == 409


def test_nobody_switches_themselves_off(scene: Scene, manager: Client) -> None:
    refused = changed(manager, scene.manager, is_active="")
    assert refused.status_code == 409
    assert "You cannot switch yourself off." in refused.content.decode()
    assert manager.get("/desk/people").status_code == 200


@pytest.mark.django_db(transaction=True)
def test_two_owners_who_switch_each_other_off_at_once_leave_one() -> None:
    scene = make_scene()
    Person.objects.filter(pk=scene.manager.pk).update(role="owner")
    people = (scene.owner, Person.objects.get(pk=scene.manager.pk))
    callers = [caller_for_person(person) for person in people]
    together = Barrier(2)

    def off(number: int) -> str:
        rival = Person.objects.get(pk=people[1 - number].pk)
        together.wait(timeout=PATIENCE_SECONDS)
        try:
            person_change(
                caller=callers[number],
                person=rival,
                name=rival.name,
                role="owner",
                is_active=False,
            )
        except Conflict:
            return "refused"
        finally:
            connection.close()
        return "done"

    with ThreadPoolExecutor(2) as pool:
        assert sorted(pool.map(off, range(2))) == ["done", "refused"]
    assert Person.objects.filter(role="owner", is_active=True).count() == 1


def test_a_new_password_is_shown_once_and_ends_the_old_sign_ins(
    scene: Scene, manager: Client
) -> None:
    tam = person_api(scene.valeter).client
    password = secret_in(manager.post(page_of(scene.valeter, "/password")))
    assert tam.get("/me").status_code == 401
    assert not opens(scene.valeter.email, PASSWORD)
    assert opens(scene.valeter.email, password)


def test_a_pin_is_taken_away(scene: Scene, manager: Client) -> None:
    pin_set(person=scene.owner, pin="2580")
    answer = manager.post(page_of(scene.owner, "/pin"))
    assert answer.headers["Location"] == page_of(scene.owner)
    assert Person.objects.get(pk=scene.owner.pk).pin == ""
    assert "has no PIN any more" in manager.get(page_of(scene.owner)).content.decode()


def test_people_of_others_are_not_there(scene: Scene, owner: Client) -> None:
    stranger, _ = person_add(
        organisation=scene.stranger_workshop, email="s@x.example", name="Str Anger", role="valeter"
    )
    for person in (stranger, scene.staff):
        assert owner.get(page_of(person)).status_code == 404
        assert changed(owner, person, role="valeter").status_code == 404
        assert owner.post(page_of(person, "/pin")).status_code == 404
        assert owner.post(page_of(person, "/password")).status_code == 404


def test_ones_own_pin_is_set_with_the_password(scene: Scene) -> None:
    client = person_api(scene.valeter).client
    assert "Set a PIN" in client.get("/me").content.decode()
    wrong = client.post("/me/pin", {"pin": "2580", "again": "2580", "current": "not mine"})
    assert wrong.status_code == 400
    assert "That is not your password." in wrong.content.decode()
    assert Person.objects.get(pk=scene.valeter.pk).pin == ""
    right = {"pin": "2580", "again": "2580", "current": PASSWORD}
    assert client.post("/me/pin", right).headers["Location"] == "/me"
    said = client.get("/me").content.decode()
    assert "Change the PIN" in said
    assert "<dd>set</dd>" in said
    assert "2580" not in without_ids(said)


@pytest.mark.parametrize(
    ("form", "wrong"),
    [
        ({}, {"pin", "again", "current"}),
        ({"pin": "1234", "again": "1235", "current": PASSWORD}, {"pin", "again"}),
        ({"pin": "2580", "again": "", "current": PASSWORD}, {"again"}),
        ({"pin": "25\x0080", "again": "25\x0080", "current": "\x00"}, {"pin", "again", "current"}),
    ],
)
def test_an_own_pin_that_is_wrong_names_every_field(
    scene: Scene, form: dict[str, str], wrong: set[str]
) -> None:
    answer = person_api(scene.valeter).client.post("/me/pin", form)
    assert answer.status_code == 400
    assert set(re.findall(r'<li><a href="#(\w+)"', answer.content.decode())) == wrong


@pytest.mark.parametrize("new", ["short", "password123", "x" * 257])
def test_an_own_password_that_is_too_weak_is_refused(scene: Scene, new: str) -> None:
    form = {"current": PASSWORD, "password": new, "again": new}
    answer = person_api(scene.staff).client.post("/me/password", form)
    assert answer.status_code == 400
    assert 'href="#password"' in answer.content.decode()
    assert opens(scene.staff.email, PASSWORD)
