"""What ends with somebody: sign-ins, PIN, the tablets and keys made in their name."""

from typing import Any

import pytest
from django.contrib.sessions.models import Session
from django.test import Client

from accounts.caller import Caller, Scope, Side
from accounts.models import ApiKey, Device, Person
from accounts.services import device_add, key_add, person_change, pin_set
from core.problems import InvalidRequest
from tests.scene import PASSWORD, Api, Scene, person_api

pytestmark = pytest.mark.django_db
PIN = "2580"


def owner_of(scene: Scene) -> Caller:
    return Caller(
        organisation_id=scene.workshop.pk,
        side=Side.WORKSHOP,
        scopes=frozenset(Scope),
        name="Odile Farrant",
        person_id=scene.owner.pk,
        role="owner",
    )


def change(scene: Scene, person: Person, **new: Any) -> Person:
    about = {"name": person.name, "role": person.role, "is_active": True, **new}
    return person_change(caller=owner_of(scene), person=person, **about)


def key_of(person: Person, *scopes: str) -> Api:
    """Return a system that calls with a key somebody made."""
    assert person.organisation is not None
    fresh = key_add(organisation=person.organisation, name="Gauge", scopes=scopes, made_by=person)
    return Api(Client(), {"Authorization": f"Bearer {fresh.secret}"})


def tablet_with(scene: Scene, maker: Person, worker: Person) -> Client:
    """Return a tablet that one made and another signed in on by PIN."""
    pin_set(person=worker, pin=PIN)
    client = Client()
    fresh = device_add(workshop=scene.workshop, name=f"Of {maker.name}", person=maker)
    client.cookies["shutline_device"] = fresh.secret
    assert client.post("/tablet/who", {"person": str(worker.pk), "pin": PIN}).status_code == 303
    return client


def test_whoever_leaves_keeps_no_way_in(scene: Scene) -> None:
    theirs = tablet_with(scene, scene.manager, scene.valeter)
    owners_tablet = tablet_with(scene, scene.owner, scene.valeter)
    key, other_key = key_of(scene.manager, "jobs.read"), key_of(scene.owner, "jobs.read")
    own = person_api(scene.manager)
    pin_set(person=scene.manager, pin="1470")
    change(scene, scene.manager, is_active=False)
    assert own.get("/jobs").status_code == 401
    assert theirs.get("/api/v1/jobs").status_code == 401
    assert key.get("/jobs").status_code == 401
    again = {"person": str(scene.valeter.pk), "pin": PIN}
    assert theirs.post("/tablet/who", again).status_code == 401
    assert Person.objects.get(pk=scene.manager.pk).pin == ""
    assert owners_tablet.get("/api/v1/jobs").status_code == 200
    assert other_key.get("/jobs").status_code == 200
    # Nothing of it comes back with the person.
    change(scene, scene.manager, is_active=True)
    assert key.get("/jobs").status_code == 401
    assert own.get("/jobs").status_code == 401
    assert theirs.post("/tablet/who", again).status_code == 401


def test_whoever_manages_no_more_loses_the_tablets_and_the_keys_do_less(scene: Scene) -> None:
    theirs = tablet_with(scene, scene.manager, scene.valeter)
    key = key_of(scene.manager, "jobs.read", "jobs.work", "flow.read", "jobs.override")
    assert key.get("/flow").status_code == 200
    change(scene, scene.manager, role="valeter")
    assert theirs.get("/api/v1/jobs").status_code == 401
    assert key.get("/jobs").status_code == 200
    refused = key.get("/flow")
    assert refused.status_code == 403
    assert key.get("/session").json()["scopes"] == ["jobs.read", "jobs.work"]
    product = key.post("/products", {"name": "Foam", "operation": "wash"})
    assert product.status_code == 403
    assert product.json()["required_role"] == "manager or owner"


def test_a_key_is_made_with_no_more_than_its_maker_may(scene: Scene) -> None:
    with pytest.raises(InvalidRequest, match=r"jobs\.override"):
        key_of(scene.valeter, "jobs.read", "jobs.override")
    assert not ApiKey.objects.exists()


def test_the_operator_ends_somebody_with_all_that_was_theirs(scene: Scene) -> None:
    operator = Person.objects.create_superuser("op@x.example", PASSWORD, name="Op")
    theirs = tablet_with(scene, scene.manager, scene.valeter)
    key = key_of(scene.manager, "jobs.read")
    client = Client()
    client.force_login(operator, backend="django.contrib.auth.backends.ModelBackend")
    about = {
        "name": scene.manager.name,
        "email": scene.manager.email,
        "organisation": str(scene.workshop.pk),
        "role": "manager",
    }
    answer = client.post(f"/admin/accounts/person/{scene.manager.pk}/change/", about)
    assert answer.status_code == 302
    assert not Person.objects.get(pk=scene.manager.pk).is_active
    assert theirs.get("/api/v1/jobs").status_code == 401
    assert key.get("/jobs").status_code == 401
    assert Device.objects.get().revoked_at is not None
    assert ApiKey.objects.get().revoked


@pytest.mark.parametrize("how", [{"is_active": False}, {"role": "valeter"}])
def test_neither_key_nor_tablet_works_where_nobody_ended_them(
    scene: Scene, how: dict[str, Any]
) -> None:
    tablet = tablet_with(scene, scene.manager, scene.valeter)
    key = key_of(scene.manager, "orders.decide")
    Person.objects.filter(pk=scene.manager.pk).update(**how)
    again = tablet.post("/tablet/who", {"person": str(scene.valeter.pk), "pin": PIN})
    assert again.status_code in {401, 403}
    assert key.get("/session").json().get("scopes", []) == []


def test_the_page_says_first_what_ends_with_somebody(scene: Scene) -> None:
    tablet_with(scene, scene.manager, scene.valeter)
    key_of(scene.manager, "jobs.read")
    said = person_api(scene.owner).client.get(f"/desk/people/{scene.manager.pk}").content.decode()
    assert "the tablet Of Milo Treen" in said
    assert "the key for Gauge" in said
    plain = person_api(scene.owner).client.get(f"/desk/people/{scene.valeter.pk}").content.decode()
    assert "Made in the name of" not in plain


def test_a_tablet_ends_with_one_tap_in_the_list(scene: Scene) -> None:
    tablet = tablet_with(scene, scene.owner, scene.valeter)
    desk = person_api(scene.manager).client
    device = Device.objects.get()
    assert f'action="/desk/tablets/{device.pk}"' in desk.get("/desk/tablets").content.decode()
    assert desk.post(f"/desk/tablets/{device.pk}").status_code == 303
    assert tablet.get("/api/v1/jobs").status_code == 401
    assert Session.objects.count() == 1


def test_the_forecasts_address_wants_its_own_scope(scene: Scene) -> None:
    url = {"forecast_url": "https://weather.brackmoor.example/f.json"}
    worker = key_of(scene.owner, "jobs.work")
    refused = worker.patch("/workshop/climate/setup", url)
    assert refused.status_code == 403
    assert refused.json()["required_scope"] == "forecast.write"
    assert worker.patch("/workshop/climate/setup", {"air": "fan"}).status_code == 200
    chooser = key_of(scene.owner, "jobs.work", "forecast.write")
    assert chooser.patch("/workshop/climate/setup", url).status_code == 200
    assert person_api(scene.manager).patch("/workshop/climate/setup", url).status_code == 200
