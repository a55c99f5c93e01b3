"""Errors are RFC 9457 problem documents, whoever makes them: DRF, Django, or a fault of ours."""

from collections.abc import Callable
from typing import Any, ClassVar

import pytest
from django.core.exceptions import PermissionDenied, SuspiciousOperation
from django.db import OperationalError
from django.http import Http404, HttpRequest, HttpResponse
from django.test import Client
from django.urls import path
from rest_framework import exceptions
from rest_framework.request import Request
from rest_framework.response import Response

from accounts.api.base import ApiView
from accounts.caller import OPEN, Access
from core.api.errors import as_problem, field_errors, sentence_for
from core.problems import Conflict, Problem
from tests.scene import Scene, person_api

SECRET = "the-password-of-the-database"


class Faulty(ApiView):
    """Fails as its last part says."""

    access: ClassVar[dict[str, Access | None]] = {"GET": OPEN}

    def get(self, request: Request, how: str) -> Response:
        del request
        fault = FAULTS[how]()
        raise fault


FAULTS: dict[str, Callable[[], Exception]] = {
    "bug": lambda: RuntimeError(SECRET),
    "database": lambda: OperationalError(SECRET),
    "denied": PermissionDenied,
    "missing": Http404,
    "odd": lambda: exceptions.APIException("Something of the framework's own."),
    "state": lambda: Conflict("Already away.", extra={"stage": "ready"}, headers={"X-Seen": "1"}),
}


def plain_bug(request: HttpRequest) -> HttpResponse:
    """Fail outside DRF."""
    del request
    raise RuntimeError(SECRET)


def plain_refusal(request: HttpRequest) -> HttpResponse:
    """Refuse outside DRF."""
    del request
    raise PermissionDenied


def plain_nonsense(request: HttpRequest) -> HttpResponse:
    """Meet something no browser sends."""
    del request
    raise SuspiciousOperation(SECRET)


urlpatterns = [
    path("faulty/<str:how>", Faulty.as_view()),
    path("plain/bug", plain_bug),
    path("plain/refusal", plain_refusal),
    path("plain/nonsense", plain_nonsense),
]
handler400 = "core.answers.bad_request"
handler403 = "core.answers.forbidden"
handler404 = "core.answers.not_found"
handler500 = "core.answers.internal"


def problem_of(response: Any, status: int, slug: str) -> dict[str, Any]:
    """Return the document of an answer after checking what every problem has."""
    assert response.status_code == status, response.content
    assert response.headers["Content-Type"] == "application/problem+json"
    document: dict[str, Any] = response.json()
    assert document["type"] == f"urn:shutline:problem:{slug}"
    assert document["status"] == status
    assert document["title"]
    assert document["detail"]
    assert document["next_step"]
    assert isinstance(document["errors"], list)
    assert SECRET not in response.content.decode()
    assert "Traceback" not in response.content.decode()
    return document


@pytest.mark.urls(__name__)
@pytest.mark.parametrize(
    ("address", "status", "slug"),
    [
        ("/faulty/bug", 500, "internal"),
        ("/faulty/database", 503, "unavailable"),
        ("/faulty/denied", 403, "not-allowed"),
        ("/faulty/missing", 404, "not-found"),
        ("/faulty/odd", 400, "invalid-request"),
        ("/faulty/state", 409, "conflict"),
        ("/plain/bug", 500, "internal"),
        ("/plain/refusal", 403, "not-allowed"),
        ("/plain/nonsense", 400, "invalid-request"),
        ("/nowhere", 404, "not-found"),
    ],
)
def test_every_failure_is_a_problem_that_gives_nothing_away(
    address: str, status: int, slug: str
) -> None:
    document = problem_of(Client(raise_request_exception=False).get(address), status, slug)
    assert document["request_id"]


@pytest.mark.urls(__name__)
def test_a_fault_of_ours_is_logged_with_its_cause(caplog: pytest.LogCaptureFixture) -> None:
    response = Client(raise_request_exception=False).get("/faulty/bug")
    (logged,) = [
        str(record.msg) for record in caplog.records if record.name == "core.request_lines"
    ]
    assert SECRET in logged
    assert response.json()["request_id"] in logged


@pytest.mark.urls(__name__)
def test_the_present_state_and_headers_ride_along() -> None:
    response = Client().get("/faulty/state")
    assert response.json()["stage"] == "ready"
    assert response.headers["X-Seen"] == "1"


@pytest.mark.urls(__name__)
def test_a_database_that_does_not_answer_says_when_to_try_again() -> None:
    assert int(Client().get("/faulty/database").headers["Retry-After"]) >= 1


def test_an_address_below_the_api_that_is_not_there_is_a_problem(client: Client) -> None:
    document = problem_of(client.get("/api/v1/nothing-here"), 404, "not-found")
    assert document["next_step"]


def test_a_method_that_is_not_answered_names_those_that_are(client: Client) -> None:
    response = client.put("/api/v1/session")
    problem_of(response, 405, "wrong-method")
    assert response.headers["Allow"] == "GET, HEAD, POST, DELETE"


def test_a_form_that_is_not_given_is_refused(scene: Scene) -> None:
    response = scene.dealer_api().get("/session", Accept="image/png")
    document = problem_of(response, 406, "not-acceptable")
    assert document["next_step"]


@pytest.mark.parametrize(
    "content_type", ["text/plain", "application/x-www-form-urlencoded", "multipart/form-data", "%"]
)
def test_a_body_of_another_type_is_refused(client: Client, content_type: str) -> None:
    response = client.generic("POST", "/api/v1/session", "x", content_type=content_type)
    problem_of(response, 415, "wrong-content-type")
    assert not response.cookies  # nobody was signed in by it


def test_no_key_and_no_sign_in_is_a_401_that_says_how(client: Client, db: None) -> None:
    del db
    response = client.get("/api/v1/session")
    document = problem_of(response, 401, "not-signed-in")
    assert response.headers["WWW-Authenticate"] == 'Bearer realm="Shutline"'
    assert "/api/v1/session" in document["next_step"]


def test_every_wrong_field_is_named_at_once(scene: Scene) -> None:
    response = person_api(scene.manager).post(
        "/keys", {"name": "", "scopes": ["jobs.read", "doors.open"], "colour": "red"}
    )
    document = problem_of(response, 400, "invalid-request")
    assert {entry["field"] for entry in document["errors"]} == {"name", "scopes.1", "colour"}
    for name in ("name", "scopes.1", "colour"):
        assert name in document["detail"]


def test_field_errors_are_walked_to_the_last_leaf() -> None:
    detail = {
        "a": ["one", "two"],
        "b": {"c": ["three"], "non_field_errors": ["four"]},
        "d": [{}, {"e": ["five"]}],
        "non_field_errors": ["six"],
    }
    assert [(entry["field"], entry["message"]) for entry in field_errors(detail)] == [
        ("a", "one"),
        ("a", "two"),
        ("b.c", "three"),
        ("b", "four"),
        ("d.1.e", "five"),
        ("body", "six"),
    ]


def test_one_wrong_field_is_told_in_full() -> None:
    assert sentence_for([{"field": "due_at", "message": "Give the zone."}]) == (
        "due_at: Give the zone."
    )


def test_a_limit_says_in_whole_seconds_when_to_try_again() -> None:
    problem = as_problem(exceptions.Throttled(wait=12.4))
    assert problem.status == 429
    assert int(problem.headers["Retry-After"]) >= 12


def test_every_kind_of_problem_has_its_own_type_and_a_next_step() -> None:
    kinds = Problem.__subclasses__()
    assert len({kind.slug for kind in kinds}) == len(kinds)
    for kind in kinds:
        document = kind("What went wrong.").as_dict()
        assert document["next_step"].endswith(".")
        assert 400 <= document["status"] < 600
