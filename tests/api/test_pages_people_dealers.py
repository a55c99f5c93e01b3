"""The desk's pages about dealers and tablets, and the keys of both sides."""

import re
from datetime import timedelta

import pytest
import time_machine
from django.test import Client

from accounts.models import ApiKey, Device, Organisation, Person, TradeAccount
from accounts.services import dealer_add, device_add, person_add, trade_account_open
from core.clock import now
from tests.api.looked import tight
from tests.api.test_pages_people_desk import opens, secret_in
from tests.scene import Api, Scene, order, person_api

WEXMOOR = {"name": "Wexmoor Cars", "contact_email": "yard@wexmoor.example"}
DARA = {"name": "Dara Quill", "email": "dara@wexmoor.example"}


@pytest.fixture
def manager(scene: Scene) -> Client:
    return person_api(scene.manager).client


@pytest.fixture
def staff(scene: Scene) -> Client:
    return person_api(scene.staff).client


def page_of(account: TradeAccount, what: str = "") -> str:
    """Return the address of an account's page."""
    return f"/desk/dealers/{account.pk}{what}"


def test_a_dealer_is_added_and_its_first_person_signs_in(scene: Scene, manager: Client) -> None:
    answer = manager.post("/desk/dealers/new", {**WEXMOOR, "accepts_by_itself": "on"})
    account = TradeAccount.objects.get(dealer__name="Wexmoor Cars")
    assert (answer.status_code, answer.headers["Location"]) == (303, page_of(account))
    assert (account.workshop, account.accepts_by_itself) == (scene.workshop, True)
    assert account.dealer.contact_email == "yard@wexmoor.example"
    assert "Add the first person" in manager.get(page_of(account)).content.decode()
    password = secret_in(manager.post(page_of(account, "/person"), DARA))
    assert opens("dara@wexmoor.example", password)
    assert Person.objects.get(email="dara@wexmoor.example").role == "staff"
    assert "Add the first person" not in manager.get(page_of(account)).content.decode()


def test_a_dealer_may_be_one_that_is_asked_about(manager: Client) -> None:
    manager.post("/desk/dealers/new", WEXMOOR)
    assert TradeAccount.objects.get(dealer__name="Wexmoor Cars").accepts_by_itself is False


def test_a_name_that_is_taken_says_so_and_no_more(scene: Scene, manager: Client) -> None:
    answer = manager.post("/desk/dealers/new", {"name": scene.stranger_dealer.name})
    assert answer.status_code == 409
    said = answer.content.decode()
    assert "There is a dealer called" in said
    assert f'value="{scene.stranger_dealer.name}"' in said
    assert scene.stranger_workshop.name not in said
    assert TradeAccount.objects.filter(workshop=scene.workshop).count() == 1


@pytest.mark.parametrize(
    ("form", "wrong"),
    [
        ({}, {"name"}),
        ({"name": "x" * 121, "contact_email": "yard"}, {"name", "contact_email"}),
        ({"name": "Wex\x00moor"}, {"name"}),
    ],
)
def test_a_dealer_that_is_wrong_names_every_field(
    manager: Client, form: dict[str, str], wrong: set[str]
) -> None:
    answer = manager.post("/desk/dealers/new", form)
    assert answer.status_code == 400
    assert set(re.findall(r'<li><a href="#(\w+)"', answer.content.decode())) == wrong
    assert Organisation.objects.count() == 4


def test_a_closed_account_takes_no_new_order_and_an_open_one_again(
    scene: Scene, manager: Client
) -> None:
    dealer = scene.dealer_api()
    assert dealer.post("/work-orders", order()).status_code == 201
    assert manager.post(page_of(scene.account), {"accepts_by_itself": "on"}).status_code == 303
    assert dealer.get("/trade-accounts").json()["results"][0]["active"] is False
    fresh = order(dealer_ref="PX-2", registration="TU21 ABD")
    refused = dealer.post("/work-orders", fresh)
    assert refused.status_code == 400
    assert "no open trade account" in refused.json()["detail"]
    assert len(dealer.get("/jobs").json()["results"]) == 1
    assert "refused" in manager.get("/desk/dealers").content.decode()
    both = {"accepts_by_itself": "on", "active": "on"}
    assert manager.post(page_of(scene.account), both).status_code == 303
    assert dealer.post("/work-orders", fresh).status_code == 201


def test_the_terms_change_for_orders_to_come(scene: Scene, manager: Client) -> None:
    manager.post(page_of(scene.account), {"active": "on"})
    posted = scene.dealer_api().post("/work-orders", order()).json()
    assert posted["decision"] == "awaited"
    assert "wait until you accept" in manager.get("/desk/dealers").content.decode()


def test_the_first_person_is_the_last_that_a_workshop_adds(scene: Scene, manager: Client) -> None:
    refused = manager.post(page_of(scene.account, "/person"), DARA)
    assert refused.status_code == 409
    assert "has somebody who signs in already" in refused.content.decode()
    shared = dealer_add(name="Wexmoor Cars", workshop=scene.stranger_workshop).dealer
    account = trade_account_open(dealer=shared, workshop=scene.workshop, accepts_by_itself=True)
    refused = manager.post(page_of(account, "/person"), DARA)
    assert refused.status_code == 409
    assert "deals with other workshops" in refused.content.decode()
    assert not Person.objects.filter(email=DARA["email"]).exists()


def test_accounts_of_others_are_not_there(scene: Scene, manager: Client) -> None:
    address = page_of(scene.stranger_account)
    assert manager.get(address).status_code == 404
    assert manager.post(address, {}).status_code == 404
    assert manager.get(f"{address}/person").status_code == 404
    assert manager.post(f"{address}/person", DARA).status_code == 404
    assert scene.stranger_dealer.name not in manager.get("/desk/dealers").content.decode()


def test_a_workshop_without_dealers_is_told_what_to_do(scene: Scene, manager: Client) -> None:
    scene.account.delete()
    assert "Add the first one" in manager.get("/desk/dealers").content.decode()


def test_a_key_is_shown_once_and_opens_what_was_ticked(scene: Scene, staff: Client) -> None:
    said = staff.get("/keys/new").content.decode()
    assert "Send, change and cancel orders" in said
    assert "Accept and decline orders" not in said
    form = {"name": "Stock system", "scopes": ["jobs.read", "prices.read"], "lasts": "90"}
    secret = secret_in(staff.post("/keys/new", form))
    shown = Api(Client(), {"Authorization": f"Bearer {secret}"}).get("/session").json()
    assert shown["organisation"]["id"] == str(scene.dealer.pk)
    assert shown["scopes"] == ["jobs.read", "prices.read"]
    key = ApiKey.objects.get(name="Stock system")
    assert key.expiry_date is not None
    assert abs(key.expiry_date - now() - timedelta(days=90)) < timedelta(minutes=1)
    listed = staff.get("/keys").content.decode()
    assert key.prefix in listed
    assert "See prices" in listed
    assert secret not in listed
    assert secret not in staff.get(f"/keys/{key.prefix}").content.decode()


def test_a_key_may_have_no_end(manager: Client) -> None:
    manager.post("/keys/new", {"name": "Desk", "scopes": ["orders.decide"], "lasts": ""})
    assert ApiKey.objects.get(name="Desk").expiry_date is None
    assert "without an end" in manager.get("/keys").content.decode()


@pytest.mark.parametrize(
    ("form", "wrong"),
    [
        ({}, {"name", "scopes"}),
        ({"name": "x" * 51, "scopes": ["everything"], "lasts": "3"}, {"name", "scopes", "lasts"}),
        ({"name": "Till", "scopes": ["orders.decide"], "lasts": "90"}, {"scopes"}),
    ],
)
def test_a_key_that_is_wrong_names_every_field(
    staff: Client, form: dict[str, str], wrong: set[str]
) -> None:
    answer = staff.post("/keys/new", form)
    assert answer.status_code == 400
    assert set(re.findall(r'<li><a href="#(\w+)"', answer.content.decode())) == wrong
    assert not ApiKey.objects.exists()


def test_a_key_is_revoked_after_a_look_and_for_good(scene: Scene, staff: Client) -> None:
    api = scene.dealer_api()
    (key,) = ApiKey.objects.all()
    asked = staff.get(f"/keys/{key.prefix}").content.decode()
    assert "Revoke this key for good" in asked
    assert api.get("/jobs").status_code == 200
    assert staff.post(f"/keys/{key.prefix}").headers["Location"] == "/keys"
    assert api.get("/jobs").status_code == 401
    said = staff.get("/keys").content.decode()
    assert "No key works just now" in said
    assert "Expired and revoked (1)" in said
    assert "Revoke this key" not in staff.get(f"/keys/{key.prefix}").content.decode()


def test_a_key_that_has_expired_says_so(staff: Client) -> None:
    staff.post("/keys/new", {"name": "Till", "scopes": ["jobs.read"], "lasts": "90"})
    with time_machine.travel(now() + timedelta(days=91), tick=False):
        staff.force_login(
            Person.objects.get(role="staff"), backend="django.contrib.auth.backends.ModelBackend"
        )
        said = staff.get("/keys").content.decode()
    assert "Expired and revoked (1)" in said
    assert ">expired<" in tight(said)


def test_keys_of_others_are_not_there(scene: Scene, staff: Client, manager: Client) -> None:
    scene.workshop_api()
    (key,) = ApiKey.objects.all()
    assert staff.get(f"/keys/{key.prefix}").status_code == 404
    assert staff.post(f"/keys/{key.prefix}").status_code == 404
    assert staff.get("/keys/nothing").status_code == 404
    assert manager.get(f"/keys/{key.prefix}").status_code == 200
    assert not ApiKey.objects.get().revoked


def test_a_tablet_is_taken_back_after_a_look(scene: Scene, manager: Client) -> None:
    assert "No tablet yet." in manager.get("/desk/tablets").content.decode()
    device = device_add(workshop=scene.workshop, name="Bay 1", person=scene.owner).device
    assert "Bay 1" in manager.get("/desk/tablets").content.decode()
    asked = manager.get(f"/desk/tablets/{device.pk}").content.decode()
    assert "Take Bay 1 back" in asked
    assert Device.objects.get().revoked_at is None
    assert manager.post(f"/desk/tablets/{device.pk}").headers["Location"] == "/desk/tablets"
    first = Device.objects.get().revoked_at
    assert first is not None
    assert "taken back" in manager.get("/desk/tablets").content.decode()
    manager.post(f"/desk/tablets/{device.pk}")
    assert Device.objects.get().revoked_at == first


def test_tablets_of_others_are_not_there(scene: Scene, manager: Client) -> None:
    theirs = scene.stranger_workshop
    head, _ = person_add(organisation=theirs, email="s@x.example", name="S", role="owner")
    device = device_add(workshop=theirs, name="Theirs", person=head).device
    assert manager.get(f"/desk/tablets/{device.pk}").status_code == 404
    assert manager.post(f"/desk/tablets/{device.pk}").status_code == 404
    assert "Theirs" not in manager.get("/desk/tablets").content.decode()
    assert Device.objects.get().revoked_at is None
