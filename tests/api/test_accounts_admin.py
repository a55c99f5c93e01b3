"""The operator's pages: who gets in, and that they make people and keys as the services do."""

import re
from typing import Any

import pytest
from django.contrib import admin
from django.contrib.admin.models import LogEntry
from django.contrib.auth.models import Group
from django.test import Client
from django.urls import reverse
from pytest_django import Settings
from rest_framework_api_key.models import APIKey

from accounts.auth import caller_for_key
from accounts.models import ApiKey, Organisation, Person, TradeAccount
from accounts.services import key_add, workshop_add
from tests.scene import PASSWORD, Scene

OPERATOR = "op@shutline.example"
MODELS = [Organisation, TradeAccount, Person, ApiKey]


@pytest.fixture
def operator(db: None) -> Person:
    del db
    return Person.objects.create_superuser(OPERATOR, PASSWORD, name="Op Erator")


@pytest.fixture
def pages(operator: Person) -> Client:
    """Return the operator's browser."""
    client = Client()
    client.force_login(operator, backend="django.contrib.auth.backends.ModelBackend")
    return client


def address(model: Any, page: str, *arguments: Any) -> str:
    """Return the address of one of a model's pages."""
    return reverse(f"admin:accounts_{model._meta.model_name}_{page}", args=arguments)


def test_the_operators_sign_out_empties_the_browsers_cache(pages: Client) -> None:
    answer = pages.post("/admin/logout/")
    assert answer.headers["Clear-Site-Data"] == '"cache"'
    assert "no-store" in answer.headers["Cache-Control"]
    assert pages.get("/admin/").status_code == 302


def wrong_fields(response: Any) -> set[str]:
    """Return the fields a form complains about."""
    assert response.status_code == 200
    return set(response.context["adminform"].form.errors)


def sign_in(client: Client, email: str, password: str) -> Any:
    """Fill in the sign-in page."""
    return client.post("/admin/login/?next=/admin/", {"username": email, "password": password})


def test_the_operator_signs_in_in_any_letters(operator: Person, client: Client) -> None:
    del operator
    assert sign_in(client, "Op@Shutline.Example", PASSWORD).headers["Location"] == "/admin/"
    page = client.get("/admin/")
    assert b"Shutline" in page.content


def test_people_of_an_organisation_do_not_get_in(scene: Scene, client: Client) -> None:
    assert sign_in(client, scene.owner.email, PASSWORD).status_code == 200
    client.force_login(scene.owner, backend="django.contrib.auth.backends.ModelBackend")
    assert client.get("/admin/").status_code == 302


def test_wrong_passwords_are_stopped_here_too(
    operator: Person, client: Client, settings: Settings
) -> None:
    del operator
    settings.AXES_ENABLED = True
    spellings = [OPERATOR, OPERATOR.upper()]
    answers = [
        sign_in(client, spellings[number % 2], "wrong").status_code
        for number in range(settings.AXES_FAILURE_LIMIT)
    ]
    assert answers == [200] * (settings.AXES_FAILURE_LIMIT - 1) + [429]
    response = sign_in(client, OPERATOR, PASSWORD)
    assert response.status_code == 429
    assert response.headers["Retry-After"] == "900"


def test_a_form_without_its_token_is_refused(operator: Person) -> None:
    del operator
    response = sign_in(Client(enforce_csrf_checks=True), OPERATOR, PASSWORD)
    assert response.status_code == 403
    assert response.headers["Content-Type"] == "application/problem+json"
    assert "Reload the page" in response.json()["next_step"]


def test_only_what_is_of_use_is_shown() -> None:
    registered = set(admin.site._registry)
    assert set(MODELS) <= registered
    assert not {APIKey, Group} & registered


@pytest.mark.parametrize("model", MODELS)
def test_every_page_opens(pages: Client, scene: Scene, model: Any) -> None:
    key_add(organisation=scene.dealer, name="till", scopes=["jobs.read"])
    record = model.objects.first()
    for page in (
        address(model, "changelist") + "?q=a",
        address(model, "add"),
        address(model, "change", record.pk),
        address(model, "history", record.pk),
    ):
        assert pages.get(page).status_code == 200, page
    assert pages.get(address(model, "delete", record.pk)).status_code == 403


PERSON = {
    "name": "Milo Treen",
    "email": "Milo@Fernhollow.example",
    "role": "manager",
    "password1": PASSWORD,
    "password2": PASSWORD,
}


def test_a_person_is_made_who_can_sign_in(pages: Client, client: Client) -> None:
    workshop = workshop_add(name="Fernhollow Valeting")
    response = pages.post(address(Person, "add"), {**PERSON, "organisation": workshop.pk})
    person = Person.objects.get(organisation=workshop)
    assert response.headers["Location"] == address(Person, "change", person.pk)
    assert person.email == "milo@fernhollow.example"
    assert (person.is_staff, person.is_superuser) == (False, False)
    signed_in = client.post(
        "/api/v1/session",
        {"email": person.email, "password": PASSWORD},
        content_type="application/json",
    )
    assert signed_in.status_code == 200


@pytest.mark.parametrize(
    ("changes", "wrong"),
    [
        ({"role": "staff"}, {"role"}),
        ({"role": ""}, {"role"}),
        ({"organisation": ""}, {"organisation"}),
        ({"organisation": "", "role": ""}, {"organisation"}),
        ({"password2": "another long one"}, {"password2"}),
        ({"password1": "short", "password2": "short"}, {"password2"}),
        ({"email": OPERATOR.upper()}, {"email"}),
        ({"email": "milo", "name": ""}, {"email", "name"}),
    ],
)
def test_a_person_who_fits_nowhere_is_not_made(
    pages: Client, changes: dict[str, str], wrong: set[str]
) -> None:
    workshop = workshop_add(name="Fernhollow Valeting")
    filled = {**PERSON, "organisation": str(workshop.pk), **changes}
    assert wrong_fields(pages.post(address(Person, "add"), filled)) == wrong
    assert not Person.objects.filter(organisation=workshop).exists()


def test_an_operator_made_here_may_do_everything_until_made_none(pages: Client) -> None:
    filled = {**PERSON, "role": "", "is_staff": "on"}
    pages.post(address(Person, "add"), filled)
    person = Person.objects.get(email="milo@fernhollow.example")
    assert (person.is_staff, person.is_superuser) == (True, True)
    workshop = workshop_add(name="Fernhollow Valeting")
    changed = {"name": person.name, "email": person.email, "is_active": "on"}
    place = {"organisation": workshop.pk, "role": "owner"}
    assert wrong_fields(pages.post(address(Person, "change", person.pk), changed)) == {
        "organisation"
    }
    pages.post(address(Person, "change", person.pk), {**changed, **place})
    person.refresh_from_db()
    assert (person.is_staff, person.is_superuser, person.role) == (False, False, "owner")
    assert person.check_password(PASSWORD)


def test_a_password_is_set_anew_as_a_hash(pages: Client, scene: Scene) -> None:
    page = reverse("admin:auth_user_password_change", args=[scene.valeter.pk])
    response = pages.post(
        page,
        {
            "password1": "another long one",
            "password2": "another long one",
            "usable_password": "true",
        },
    )
    assert response.status_code == 302
    scene.valeter.refresh_from_db()
    assert scene.valeter.check_password("another long one")


def new_key(whose: Organisation, **changes: Any) -> dict[str, Any]:
    """Return a filled-in form for a key."""
    filled = {
        "organisation": whose.pk,
        "name": "Stock system",
        "scopes": ["jobs.read", "orders.write"],
        "expiry_date_0": "",
        "expiry_date_1": "",
    }
    return {**filled, **changes}


def test_a_key_is_made_and_its_secret_shown_once(pages: Client, scene: Scene) -> None:
    response = pages.post(address(ApiKey, "add"), new_key(scene.dealer), follow=True)
    key = ApiKey.objects.get()
    found = re.search(rf"{key.prefix}\.\w{{32}}", response.content.decode())
    assert found is not None
    caller = caller_for_key(f"Bearer {found[0]}")
    assert caller is not None
    assert caller.organisation_id == scene.dealer.pk
    assert caller.scopes == {"jobs.read", "orders.write"}
    for page in (address(ApiKey, "changelist"), address(ApiKey, "change", key.pk)):
        assert found[0] not in pages.get(page).content.decode()


def test_the_hash_is_on_no_page_and_in_no_log(pages: Client, scene: Scene) -> None:
    made = pages.post(address(ApiKey, "add"), new_key(scene.dealer), follow=True)
    key = ApiKey.objects.get()
    hashed = key.hashed_key.partition("$$")[2]
    logged = str(list(LogEntry.objects.values()))
    shown = [made, pages.get("/admin/"), pages.get(address(ApiKey, "changelist"))]
    shown += [pages.get(address(ApiKey, page, key.pk)) for page in ("change", "history")]
    assert hashed not in logged
    assert not [page for page in shown if hashed in page.content.decode()]


@pytest.mark.parametrize(
    ("changes", "wrong"),
    [
        ({"scopes": ["jobs.work"]}, {"scopes"}),
        ({"scopes": ["doors.open"]}, {"scopes"}),
        ({"scopes": []}, {"scopes"}),
        ({"name": ""}, {"name"}),
        ({"organisation": ""}, {"organisation"}),
        ({"expiry_date_0": "2020-01-01", "expiry_date_1": "00:00"}, {"expiry_date"}),
    ],
)
def test_a_key_that_fits_nowhere_is_not_made(
    pages: Client, scene: Scene, changes: dict[str, Any], wrong: set[str]
) -> None:
    response = pages.post(address(ApiKey, "add"), new_key(scene.dealer, **changes))
    assert wrong_fields(response) == wrong
    assert not ApiKey.objects.exists()


def test_scopes_are_boxes_to_tick_in_groups_by_side(pages: Client) -> None:
    page = pages.get(address(ApiKey, "add")).content.decode()
    boxes = re.findall(r'type="checkbox" name="scopes" value="([^"]+)"', page)
    assert sorted(boxes) == sorted(set(boxes))
    dealer, workshop = page.index("Dealer only"), page.index("Workshop only")
    assert dealer < page.index('value="orders.write"') < workshop < page.index('value="jobs.work"')


def test_a_key_is_revoked_for_good(pages: Client, scene: Scene) -> None:
    fresh = key_add(organisation=scene.dealer, name="till", scopes=["jobs.read"])
    page = address(ApiKey, "change", fresh.key.pk)
    blank = {"expiry_date_0": "", "expiry_date_1": ""}
    pages.post(page, {"name": "till 2", "revoked": "on", **blank})
    pages.post(page, {"name": "till 3", **blank})
    fresh.key.refresh_from_db()
    assert (fresh.key.name, fresh.key.revoked) == ("till 2", True)
    assert fresh.key.scopes == ["jobs.read"]
    assert b"revoked" in pages.get(address(ApiKey, "changelist")).content


def test_whose_a_key_is_and_what_it_may_do_stay_as_made(pages: Client, scene: Scene) -> None:
    fresh = key_add(organisation=scene.dealer, name="till", scopes=["jobs.read"])
    filled = new_key(scene.workshop, scopes=["jobs.override"], name="board")
    pages.post(address(ApiKey, "change", fresh.key.pk), filled)
    fresh.key.refresh_from_db()
    assert (fresh.key.name, fresh.key.scopes) == ("board", ["jobs.read"])
    assert fresh.key.organisation == scene.dealer


def test_the_two_sides_of_an_account_stay_as_made(pages: Client, scene: Scene) -> None:
    page = address(TradeAccount, "change", scene.account.pk)
    pages.post(page, {"dealer": scene.stranger_dealer.pk, "active": "on"})
    scene.account.refresh_from_db()
    assert scene.account.dealer.name == "Brackmoor Cars"
    assert (scene.account.accepts_by_itself, scene.account.active) == (False, True)


def test_an_account_joins_a_dealer_and_a_workshop_only(pages: Client, scene: Scene) -> None:
    filled = {"dealer": scene.workshop.pk, "workshop": scene.dealer.pk, "active": "on"}
    response = pages.post(address(TradeAccount, "add"), filled)
    assert wrong_fields(response) == {"dealer", "workshop"}
