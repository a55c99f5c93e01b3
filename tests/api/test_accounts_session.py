"""Signing in and out, and who am I."""

from typing import Any

import pytest
from django.contrib.sessions.models import Session
from django.test import Client
from pytest_django import Settings

from accounts.models import Person
from tests.scene import PASSWORD, Api, Scene, key_api, person_api

EMAIL = "milo@manager.example"


def sign_in(api: Api, email: str = EMAIL, password: str = PASSWORD) -> Any:
    """Post a sign-in."""
    return api.post("/session", {"email": email, "password": password})


@pytest.fixture
def browser(scene: Scene) -> Api:
    """Return a browser that checks CSRF as the real service does."""
    del scene
    return Api(Client(enforce_csrf_checks=True))


@pytest.fixture
def locking(settings: Settings) -> None:
    settings.AXES_ENABLED = True


def test_a_person_signs_in_and_learns_who_they_are(scene: Scene, browser: Api) -> None:
    response = sign_in(browser)
    assert response.status_code == 200
    assert response.headers["Cache-Control"] == "no-store"
    shown = response.json()
    token = shown.pop("csrf_token")
    assert token
    assert shown == {
        "name": "Milo Treen",
        "organisation": {"id": str(scene.workshop.pk), "name": "Fernhollow Valeting"},
        "side": "workshop",
        "role": "manager",
        "person_id": str(scene.manager.pk),
        "key_prefix": "",
        "scopes": [
            "flow.read",
            "forecast.write",
            "jobs.override",
            "jobs.read",
            "jobs.work",
            "notices.manage",
            "orders.decide",
            "prices.read",
        ],
    }
    again = browser.get("/session").json()
    assert {**shown, "csrf_token": again["csrf_token"]} == again


def test_the_cookies_are_out_of_reach_of_other_pages(browser: Api) -> None:
    cookies = sign_in(browser).cookies
    assert cookies["sessionid"]["httponly"]
    assert cookies["sessionid"]["samesite"] == "Lax"
    assert cookies["csrftoken"]["samesite"] == "Lax"


def test_an_address_is_taken_in_any_letters(browser: Api) -> None:
    assert sign_in(browser, email="Milo@Manager.Example").status_code == 200


def test_the_session_changes_its_id_at_sign_in(scene: Scene, client: Client) -> None:
    client.force_login(scene.valeter, backend="django.contrib.auth.backends.ModelBackend")
    planted = client.session.session_key
    assert sign_in(Api(client)).status_code == 200
    assert client.session.session_key != planted
    assert not Session.objects.filter(session_key=planted).exists()


def test_a_planted_id_of_nobody_is_not_taken_over(scene: Scene, client: Client) -> None:
    del scene
    planted = "plantedplantedplantedplantedplan"
    client.cookies["sessionid"] = planted
    assert sign_in(Api(client)).status_code == 200
    assert client.cookies["sessionid"].value != planted


def test_a_sign_in_replaces_that_of_somebody_else(scene: Scene, client: Client) -> None:
    client.force_login(scene.valeter, backend="django.contrib.auth.backends.ModelBackend")
    assert sign_in(Api(client)).json()["role"] == "manager"
    assert Api(client).get("/session").json()["name"] == "Milo Treen"


def test_a_stale_key_does_not_stand_in_the_way_of_a_sign_in(browser: Api) -> None:
    browser.headers = {"Authorization": "Bearer gone.gone"}
    assert sign_in(browser).status_code == 200


def test_a_wrong_password_and_an_unknown_person_get_the_same_answer(browser: Api) -> None:
    answers = []
    for email, password in [(EMAIL, "not this one at all"), ("nobody@fernhollow.example", "x")]:
        response = sign_in(browser, email, password)
        assert response.status_code == 401
        assert "sessionid" not in response.cookies
        document = response.json()
        document.pop("request_id")
        answers.append(document)
    assert answers[0] == answers[1]
    assert answers[0]["type"] == "urn:shutline:problem:not-signed-in"


def test_a_person_who_has_left_gets_the_answer_of_an_unknown_one(
    scene: Scene, browser: Api
) -> None:
    Person.objects.filter(pk=scene.manager.pk).update(is_active=False)
    assert sign_in(browser).status_code == 401


def test_a_person_who_leaves_is_out_at_once(scene: Scene) -> None:
    api = person_api(scene.manager)
    assert api.get("/session").status_code == 200
    Person.objects.filter(pk=scene.manager.pk).update(is_active=False)
    assert api.get("/session").status_code == 401


def test_a_new_password_ends_the_old_sign_ins(scene: Scene) -> None:
    api = person_api(scene.manager)
    scene.manager.set_password("another long password")
    scene.manager.save(update_fields=["password"])
    assert api.get("/session").status_code == 401


def test_the_operator_is_told_where_to_work(db: None) -> None:
    del db
    operator = Person.objects.create_superuser("op@shutline.example", PASSWORD, name="Op Erator")
    api = Api(Client())
    response = sign_in(api, "op@shutline.example")
    assert response.status_code == 403
    assert "/admin/" in response.json()["detail"]
    assert "sessionid" not in response.cookies
    assert person_api(operator).get("/session").status_code == 403
    assert person_api(operator).get("/jobs").status_code == 403


@pytest.mark.parametrize(
    ("body", "fields"),
    [
        ({}, {"email", "password"}),
        ({"email": "milo", "password": "x"}, {"email"}),
        ({"email": EMAIL, "password": "x" * 257}, {"password"}),
        ({"email": EMAIL, "password": "x", "remember": True}, {"remember"}),
    ],
)
def test_a_sign_in_that_is_not_whole_names_its_fields(
    browser: Api, body: dict[str, Any], fields: set[str]
) -> None:
    response = browser.post("/session", body)
    assert response.status_code == 400
    assert {entry["field"] for entry in response.json()["errors"]} == fields
    assert "x" * 257 not in response.content.decode()


def test_a_form_of_another_page_cannot_sign_anyone_in(scene: Scene, client: Client) -> None:
    del scene
    response = client.post("/api/v1/session", {"email": EMAIL, "password": PASSWORD})
    assert response.status_code == 415
    assert "sessionid" not in response.cookies


def test_a_write_with_the_cookie_needs_the_token(browser: Api) -> None:
    token = sign_in(browser).json()["csrf_token"]
    key = {"name": "till", "scopes": ["jobs.read"]}
    refused = browser.post("/keys", key)
    assert refused.status_code == 403
    assert refused.json()["type"] == "urn:shutline:problem:not-allowed"
    assert "X-CSRFToken" in refused.json()["next_step"]
    assert browser.post("/keys", key, {"X-CSRFToken": "x" * 64}).status_code == 403
    assert browser.post("/keys", key, {"X-CSRFToken": token}).status_code == 201
    fresh = browser.get("/session").json()["csrf_token"]
    assert browser.post("/keys", key, {"X-CSRFToken": fresh}).status_code == 201


def test_a_write_with_a_key_needs_no_token(scene: Scene) -> None:
    api = key_api(scene.dealer)
    api.client = Client(enforce_csrf_checks=True)
    assert api.post("/work-orders", {}).status_code == 400


def test_a_token_from_before_the_sign_in_is_worth_nothing(browser: Api) -> None:
    before = sign_in(browser).json()["csrf_token"]
    sign_in(browser)
    key = {"name": "till", "scopes": ["jobs.read"]}
    assert browser.post("/keys", key, {"X-CSRFToken": before}).status_code == 403


def test_signing_out_ends_the_session(browser: Api) -> None:
    token = sign_in(browser).json()["csrf_token"]
    assert browser.delete("/session").status_code == 403
    response = browser.call("DELETE", "/session", headers={"X-CSRFToken": token})
    assert (response.status_code, response.content) == (204, b"")
    assert response.headers["Clear-Site-Data"] == '"cache"'
    assert Session.objects.count() == 0
    assert browser.get("/session").status_code == 401


def test_a_key_says_who_it_is_but_cannot_sign_out(scene: Scene) -> None:
    api = scene.dealer_api()
    shown = api.get("/session").json()
    assert shown["name"] == "tests (Brackmoor Cars)"
    assert shown["organisation"]["id"] == str(scene.dealer.pk)
    assert (shown["side"], shown["role"], shown["csrf_token"]) == ("dealer", "", "")
    assert len(shown["key_prefix"]) == 8
    assert shown["scopes"] == ["jobs.read", "notices.manage", "orders.write", "prices.read"]
    refused = api.delete("/session")
    assert refused.status_code == 403
    assert "a key cannot make it" in refused.json()["detail"]


@pytest.mark.usefixtures("locking")
def test_wrong_passwords_are_stopped_and_the_right_one_with_them(
    settings: Settings, browser: Api
) -> None:
    wrong = [sign_in(browser, password="wrong") for _ in range(settings.AXES_FAILURE_LIMIT)]
    statuses = [response.status_code for response in wrong]
    assert statuses == [401] * (settings.AXES_FAILURE_LIMIT - 1) + [429]
    response = sign_in(browser)
    assert response.status_code == 429
    assert response.headers["Content-Type"] == "application/problem+json"
    assert response.headers["Retry-After"] == "900"
    assert response.json()["type"] == "urn:shutline:problem:too-many-requests"
    assert "sessionid" not in response.cookies


@pytest.mark.usefixtures("locking")
def test_an_unknown_person_is_stopped_in_the_same_way(settings: Settings, browser: Api) -> None:
    tries = range(settings.AXES_FAILURE_LIMIT)
    answers = [sign_in(browser, "nobody@fernhollow.example", "x").status_code for _ in tries]
    assert answers == [401] * (settings.AXES_FAILURE_LIMIT - 1) + [429]


@pytest.mark.usefixtures("locking")
def test_another_spelling_of_the_address_is_no_way_round(settings: Settings, browser: Api) -> None:
    for number in range(settings.AXES_FAILURE_LIMIT):
        sign_in(browser, EMAIL.upper() if number % 2 else EMAIL, "wrong")
    assert sign_in(browser, EMAIL.title()).status_code == 429


@pytest.mark.usefixtures("locking")
def test_one_persons_wrong_passwords_do_not_stop_a_colleague(
    settings: Settings, browser: Api
) -> None:
    for _ in range(settings.AXES_FAILURE_LIMIT):
        sign_in(browser, password="wrong")
    assert sign_in(browser, "odile@owner.example").status_code == 200


@pytest.mark.usefixtures("locking")
def test_a_sign_in_that_succeeds_wipes_the_slate(settings: Settings, browser: Api) -> None:
    for _ in range(2):
        for _ in range(settings.AXES_FAILURE_LIMIT - 1):
            assert sign_in(browser, password="wrong").status_code == 401
        assert sign_in(browser).status_code == 200
