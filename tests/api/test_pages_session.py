"""Signing in on a page, and what keeps a sign-in where it belongs."""

import re
from collections.abc import Iterator
from typing import Any

import pytest
from django.contrib.auth import get_user_model
from django.contrib.sessions.models import Session
from django.test import Client
from django.urls import URLResolver, get_resolver
from pytest_django import Settings
from rest_framework.views import APIView

from accounts.models import Person
from accounts.services import pin_set
from core.pages import HEADERS
from tests.api.steps import NOWHERE
from tests.api.test_pages_people_tablet import change, tablet_of
from tests.api.world import PLACE, Route, routes
from tests.scene import PASSWORD, Scene

EMAIL, PIN = "milo@manager.example", "2580"
AS_PAGE = {"Accept": "text/html"}
NO_PAGES = ("/api/", "/healthz", "/readyz", "/metrics")
LINK = "/decide/{token}"  # its own tests see to its forms, which it checks itself
ELSEWHERE = [
    "//evil.example/",
    "///evil.example/",
    "\\\\evil.example/",
    "/\\evil.example/",
    "https://evil.example/",
    "http:evil.example",
    "javascript:alert(1)",
    "data:text/html,x",
    "/\t/evil.example/",
    "\t//evil.example/",
    " //evil.example/",
    "\x00//evil.example",
    "evil.example",
    "desk/",
]


def sign_in(client: Client, email: str = EMAIL, password: str = PASSWORD, **more: str) -> Any:
    """Send the sign-in form."""
    form = {"email": email, "password": password, **more}
    return client.post("/sign-in", form, headers=AS_PAGE)


def pages(method: str) -> list[Route]:
    """Return the routes that people read, with this method."""
    return [
        route
        for route in routes()
        if route.method == method and not route.template.startswith(NO_PAGES)
    ]


def views(resolver: URLResolver) -> Iterator[tuple[str | None, Any]]:
    """Yield the name and the view of every page that is ours."""
    for pattern in resolver.url_patterns:
        if isinstance(pattern, URLResolver):
            yield from views(pattern)
        elif hasattr(pattern.callback, "view_class") and not issubclass(
            pattern.callback.view_class, APIView
        ):
            yield pattern.name, pattern.callback


CHECKED = [page for page in pages("POST") if page.template != LINK]


def visitors(scene: Scene) -> Iterator[Client]:
    """Yield browsers that check where forms come from, with each kind of person signed in."""
    yield Client(enforce_csrf_checks=True)
    for person in (scene.owner, scene.valeter, scene.staff):
        client = Client(enforce_csrf_checks=True)
        client.force_login(person, backend="django.contrib.auth.backends.ModelBackend")
        yield client


@pytest.fixture
def locking(settings: Settings) -> None:
    settings.AXES_ENABLED = True


@pytest.mark.parametrize(
    ("email", "to"),
    [
        ("odile@owner.example", "/desk/"),
        ("Milo@Manager.example", "/desk/"),
        ("tam@valeter.example", "/tablet/?person=changed"),
        ("ines@staff.example", "/dashboard/"),
    ],
)
def test_everybody_begins_at_their_own_pages(scene: Scene, email: str, to: str) -> None:
    del scene
    client = Client()
    answer = sign_in(client, email)
    assert (answer.status_code, answer.headers["Location"]) == (303, to)
    assert client.get("/").headers["Location"] == to.partition("?")[0]


def test_whoever_wanted_a_page_gets_it_after_the_sign_in(scene: Scene) -> None:
    del scene
    client = Client(enforce_csrf_checks=True)
    wanted = "/desk/people?from=here"
    asked = client.get(wanted, headers=AS_PAGE)
    assert asked.status_code == 401
    said = asked.content.decode()
    assert f'name="onward" value="{wanted}"' in said
    found = re.search('name="csrfmiddlewaretoken" value="([^"]+)"', said)
    assert found is not None
    wrong = sign_in(client, password="x", onward=wanted, csrfmiddlewaretoken=found[1])
    assert wrong.status_code == 401
    assert f'name="onward" value="{wanted}"' in wrong.content.decode()
    answer = sign_in(client, onward=wanted, csrfmiddlewaretoken=found[1])
    assert answer.headers["Location"] == wanted


@pytest.mark.parametrize("onward", ELSEWHERE)
def test_a_sign_in_leads_nowhere_else(scene: Scene, onward: str) -> None:
    del scene
    answer = sign_in(Client(), onward=onward)
    assert (answer.status_code, answer.headers["Location"]) == (303, "/desk/")


def test_an_address_to_go_on_to_can_add_no_header(scene: Scene) -> None:
    del scene
    answer = sign_in(Client(), onward="/desk/\r\nSet-Cookie: planted=1")
    assert "\n" not in answer.headers["Location"]
    assert "planted" not in answer.cookies


def test_a_form_that_nobody_sent_is_not_gone_on_to(scene: Scene) -> None:
    del scene
    answer = Client().post("/me/password", {"password": "x"}, headers=AS_PAGE)
    assert answer.status_code == 401
    assert 'name="onward" value=""' in answer.content.decode()


def test_the_session_changes_its_id_at_a_sign_in(scene: Scene) -> None:
    client = Client()
    client.force_login(scene.valeter, backend="django.contrib.auth.backends.ModelBackend")
    planted = client.session.session_key
    assert sign_in(client).status_code == 303
    assert client.session.session_key != planted
    assert not Session.objects.filter(session_key=planted).exists()


def test_what_was_planted_in_a_session_of_nobody_is_gone_after_the_sign_in(scene: Scene) -> None:
    del scene
    client = Client()
    session = client.session
    session["planted"] = "by somebody else"
    session.save()
    client.cookies["sessionid"] = str(session.session_key)
    sign_in(client)
    assert client.session.session_key != session.session_key
    assert "planted" not in client.session


@pytest.mark.parametrize("by_pin", [False, True], ids=["password", "pin"])
def test_a_planted_session_id_is_not_taken_over(scene: Scene, *, by_pin: bool) -> None:
    pin_set(person=scene.manager, pin=PIN)
    client = tablet_of(EMAIL)
    planted = "plantedplantedplantedplantedplan"
    client.cookies["sessionid"] = planted
    answer = change(client, scene.manager) if by_pin else sign_in(client)
    assert answer.status_code == 303
    assert answer.cookies["sessionid"].value != planted
    assert not Session.objects.filter(session_key=planted).exists()
    assert client.get("/me").status_code == 200


def test_a_page_from_before_the_sign_in_can_send_no_form(scene: Scene) -> None:
    del scene
    client = Client(enforce_csrf_checks=True)
    said = client.get("/sign-in").content.decode()
    before = re.findall('name="csrfmiddlewaretoken" value="([^"]+)"', said)[0]
    assert sign_in(client, csrfmiddlewaretoken=before).status_code == 303
    assert client.post("/sign-out", {"csrfmiddlewaretoken": before}).status_code == 403


@pytest.mark.parametrize(
    ("email", "password", "field"),
    [
        ("", "x", "email"),
        ("milo", "x", "email"),
        ("mi\x00lo@manager.example", "x", "email"),
        (f"{'m' * 300}@manager.example", "x", "email"),
        ("\ud800".encode("utf-8", "surrogatepass").decode("latin-1"), "x", "email"),
        (EMAIL, "", "password"),
        (EMAIL, "x" * 257, "password"),
        (EMAIL, "a\x00b", "password"),
    ],
)
def test_a_sign_in_that_cannot_be_right_names_its_field(
    scene: Scene, email: str, password: str, field: str
) -> None:
    del scene
    answer = sign_in(Client(), email, password, onward="/desk/")
    assert answer.status_code == 400
    said = answer.content.decode()
    assert f'href="#{field}"' in said
    assert 'name="onward" value="/desk/"' in said
    assert "sessionid" not in answer.cookies
    assert password == "x" or not password or password not in said


def test_a_sign_in_without_anything_names_both_fields(scene: Scene) -> None:
    del scene
    said = Client().post("/sign-in", {}).content.decode()
    assert 'href="#email"' in said
    assert 'href="#password"' in said


def test_a_wrong_password_keeps_the_address_and_says_no_more_than_to_a_stranger(
    scene: Scene,
) -> None:
    del scene
    answers = []
    for email in (EMAIL, "nobody@manager.example"):
        answer = sign_in(Client(), email, "not this one")
        assert answer.status_code == 401
        said = answer.content.decode()
        assert f'value="{email}"' in said
        assert "not this one" not in said
        answers.append(re.sub(r'value="\w{64}"', "", said.replace(email, "")))
    assert answers[0] == answers[1]


def test_the_operator_is_told_where_to_work(db: None) -> None:
    del db
    model: Any = get_user_model()
    model.objects.create_superuser("op@shutline.example", PASSWORD, name="Op Erator")
    client = Client()
    answer = sign_in(client, "op@shutline.example")
    assert answer.status_code == 403
    assert "/admin/" in answer.content.decode()
    assert "_auth_user_id" not in client.session


@pytest.mark.usefixtures("locking")
def test_too_many_wrong_passwords_are_stopped_with_a_page(scene: Scene, settings: Settings) -> None:
    del scene
    client = Client()
    for _ in range(settings.AXES_FAILURE_LIMIT):
        answer = sign_in(client, password="wrong")
    assert answer.status_code == 429
    answer = sign_in(client)
    assert answer.status_code == 429
    assert answer.headers["Retry-After"] == "900"
    assert answer.headers["Content-Type"].startswith("text/html")
    assert "Too many wrong passwords" in answer.content.decode()
    assert "Wait 15 minutes" in answer.content.decode()
    assert "frame-ancestors 'none'" in answer.headers["Content-Security-Policy"]
    assert "_auth_user_id" not in client.session


@pytest.mark.usefixtures("locking")
def test_wrong_passwords_under_ones_own_name_are_counted_like_those_at_the_sign_in(
    scene: Scene, settings: Settings
) -> None:
    client = tablet_of(EMAIL)
    pin_set(person=scene.manager, pin=PIN)
    change(client, scene.manager)
    form = {"pin": "1470", "again": "1470", "current": "guessed wrongly"}
    statuses = [
        client.post("/me/pin", form, headers=AS_PAGE).status_code
        for _ in range(settings.AXES_FAILURE_LIMIT)
    ]
    assert statuses == [400] * (settings.AXES_FAILURE_LIMIT - 1) + [429]


def test_signing_out_ends_the_session(scene: Scene) -> None:
    del scene
    client = Client()
    sign_in(client)
    answer = client.post("/sign-out")
    assert (answer.status_code, answer.headers["Location"]) == (303, "/sign-in")
    assert answer.headers["Clear-Site-Data"] == '"cache"'
    assert Session.objects.count() == 0
    assert client.get("/me").status_code == 401


def test_the_first_page_after_the_sign_in_ended_elsewhere_empties_the_cache_too(
    scene: Scene,
) -> None:
    del scene
    client = Client()
    sign_in(client)
    Session.objects.all().delete()
    answer = client.get("/me")
    assert answer.status_code == 401
    assert answer.headers["Clear-Site-Data"] == '"cache"'
    assert "Clear-Site-Data" not in Client().get("/me").headers  # a stranger had nothing


def test_an_address_for_forms_only_says_so_and_is_not_gone_on_to(scene: Scene) -> None:
    del scene
    client = Client()
    asked = client.get("/sign-out")
    assert asked.status_code == 401
    assert 'name="onward" value=""' in asked.content.decode()
    sign_in(client)
    answer = client.get("/sign-out")
    assert answer.status_code == 405
    assert answer.headers["Allow"] == "POST"
    assert "use a link or a button" in answer.content.decode()
    assert client.put("/me").status_code == 405


def test_every_page_but_the_one_behind_the_link_in_an_email_leaves_forms_to_the_middleware() -> (
    None
):
    names = {page.template for page in pages("POST")}
    assert {"/sign-in", "/sign-out", LINK, "/keys/new", "/tablet/who"} <= names
    found = list(views(get_resolver()))
    assert len(found) > len(names)
    assert {name for name, view in found if getattr(view, "csrf_exempt", False)} == {
        "decision",
        "decision_photo",
    }


@pytest.mark.parametrize("route", CHECKED, ids=lambda route: route.template)
def test_a_form_of_somebody_elses_page_is_refused_with_a_page(scene: Scene, route: Route) -> None:
    address = PLACE.sub(NOWHERE, route.template.replace("{number}", "1"))
    for client in visitors(scene):
        for form in ({}, {"csrfmiddlewaretoken": "x" * 64}):
            answer = client.post(address, form, headers=AS_PAGE)
            assert answer.status_code == 403
            assert answer.headers["Content-Type"].startswith("text/html")
            said = answer.content.decode()
            assert "not shown to come from our own page" in said
            assert "Reload the page and try again" in said
        from_elsewhere = {**AS_PAGE, "Origin": "https://evil.example"}
        assert client.post(address, {}, headers=from_elsewhere).status_code == 403


@pytest.mark.parametrize("route", pages("GET"), ids=lambda route: route.template)
def test_no_page_can_be_framed_whatever_it_answers(scene: Scene, route: Route) -> None:
    address = PLACE.sub(NOWHERE, route.template.replace("{number}", "1"))
    for client in visitors(scene):
        answer = client.get(address, headers=AS_PAGE)
        assert answer.headers["X-Frame-Options"] == "DENY"
        if answer.headers["Content-Type"].startswith("text/html"):
            assert "frame-ancestors 'none'" in answer.headers["Content-Security-Policy"]
            assert answer.headers["Referrer-Policy"] == HEADERS["Referrer-Policy"]


def test_a_page_that_shows_a_problem_cannot_be_framed_either(scene: Scene) -> None:
    del scene
    for answer in (
        Client().get("/nothing-here", headers=AS_PAGE),
        Client().get("/desk/?q=%00", headers=AS_PAGE),
        Client(enforce_csrf_checks=True).post("/sign-in", {}, headers=AS_PAGE),
    ):
        assert answer.status_code in {400, 403, 404}
        assert answer.headers["X-Frame-Options"] == "DENY"
        assert "frame-ancestors 'none'" in answer.headers["Content-Security-Policy"]


def test_a_new_password_ends_the_sign_ins_elsewhere_but_not_here(scene: Scene) -> None:
    here, elsewhere = Client(), Client()
    for client in (here, elsewhere):
        sign_in(client)
    before = here.session.session_key
    new = "three quiet words"
    answer = here.post("/me/password", {"current": PASSWORD, "password": new, "again": new})
    assert answer.status_code == 303
    assert here.get("/me").status_code == 200
    assert here.session.session_key != before
    assert elsewhere.get("/me").status_code == 401
    assert sign_in(Client()).status_code == 401
    assert sign_in(Client(), password=new).status_code == 303
    assert Person.objects.get(pk=scene.manager.pk).check_password(new)
