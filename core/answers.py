"""Answers made outside DRF, for Django's own error pages and the middleware.

A system gets a problem document, somebody who reads pages gets the same as a page.
"""

import sys

import structlog
from django.http import HttpRequest, HttpResponse

from core.api.rendering import to_json
from core.full_disk import disk_full, is_full_disk
from core.pages import problem_page, wants_page
from core.problems import (
    MEDIA_TYPE,
    InternalProblem,
    InvalidRequest,
    NotAllowed,
    NotFound,
    Problem,
)
from core.request_lines import note_refusal


def problem_response(problem: Problem) -> HttpResponse:
    """Render a problem as an HTTP answer."""
    body = problem.as_dict()
    request_id = structlog.contextvars.get_contextvars().get("request_id")
    if request_id:
        body["request_id"] = request_id
    return HttpResponse(
        to_json(body),
        status=problem.status,
        content_type=MEDIA_TYPE,
        headers={"Cache-Control": "no-store, private", **problem.headers},
    )


def problem_answer(request: HttpRequest, problem: Problem) -> HttpResponse:
    """Answer with a problem in the form that whoever asks can read."""
    return problem_page(request, problem) if wants_page(request) else problem_response(problem)


def bad_request(request: HttpRequest, exception: Exception) -> HttpResponse:
    """Django's handler400; Django gives the exception by name."""
    note_refusal(request, exception)
    return problem_answer(request, InvalidRequest("The request could not be read."))


def forbidden(request: HttpRequest, exception: Exception) -> HttpResponse:
    """Django's handler403."""
    del exception
    return problem_answer(request, NotAllowed("This request is not allowed."))


def not_found(request: HttpRequest, exception: Exception) -> HttpResponse:
    """Django's handler404."""
    del exception
    return problem_answer(request, NotFound("There is nothing at this address."))


def internal(request: HttpRequest) -> HttpResponse:
    """Django's handler500: the stack trace goes to the log, never to the caller."""
    if is_full_disk(sys.exception()):
        return problem_answer(request, disk_full())
    return problem_answer(request, InternalProblem("Something failed that should not have."))


def csrf_failed(request: HttpRequest, reason: str = "") -> HttpResponse:
    """CSRF_FAILURE_VIEW: the form or call did not prove it came from our own page."""
    return problem_answer(
        request,
        NotAllowed(
            f"The request was not shown to come from our own page. {reason}".strip(),
            next_step="Reload the page and try again; an API client sends a key instead.",
        ),
    )
