"""Writes one line for each request: what was asked, by whom, how it ended and how long it took.

The line has the route, never the address as it was sent: that can hold a token, a registration or
whatever somebody types. What failed stands in the same line, so that nothing is said twice.
"""

import re
import sys
import time
from collections.abc import Callable
from typing import Any
from uuid import uuid4

import structlog
from django.conf import settings
from django.core.signals import got_request_exception
from django.http import HttpRequest, HttpResponseBase
from structlog.contextvars import bind_contextvars, clear_contextvars

from core.tracing import Span, request_span

log = structlog.get_logger(__name__)

NO_ROUTE = "none"
# What a proxy in front may call a request; anything else could be whatever a caller likes.
GIVEN_ID = re.compile(r"[A-Za-z0-9_-]{8,64}")
FAILURE = "shutline_failure"
REFUSED = "shutline_refused"
OUR_FAULT = 500


class RequestLineMiddleware:
    """Gives each request its id, which every line about it has, and writes its line at the end."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponseBase]) -> None:
        self.get_response = get_response
        got_request_exception.connect(_note_exception)

    def __call__(self, request: HttpRequest) -> HttpResponseBase:
        began = time.perf_counter()
        clear_contextvars()  # left by a request that was answered in this thread before
        bind_contextvars(request_id=id_of(request))
        with request_span(str(request.method)) as span:
            response = self.get_response(request)
            write_line(request, response, span=span, seconds=time.perf_counter() - began)
        clear_contextvars()
        return response


def note_failure(request: HttpRequest, error: BaseException) -> None:
    """Have the request's line say what failed; whoever answers in place of the view calls this."""
    setattr(request, FAILURE, error)


def note_refusal(request: HttpRequest, error: BaseException) -> None:
    """Have the request's line name the kind of refusal."""
    setattr(request, REFUSED, type(error).__name__)


def _note_exception(request: HttpRequest, **_: Any) -> None:
    if (error := sys.exception()) is not None:
        note_failure(request, error)


def write_line(
    request: HttpRequest, response: HttpResponseBase, *, span: Span, seconds: float
) -> None:
    """Write the request's line."""
    route = route_of(request)
    span.answered(route=route, status=response.status_code)
    fields: dict[str, Any] = {
        "method": request.method,
        "route": route,
        "status": response.status_code,
        "duration_ms": round(seconds * 1000, 1),
        **about(request),
    }
    failure = getattr(request, FAILURE, None)
    if failure is not None:
        log.error("request", **fields, exc_info=failure)
    elif response.status_code >= OUR_FAULT:
        log.warning("request", **fields)
    else:
        log.info("request", **fields)


def about(request: HttpRequest) -> dict[str, str]:
    """Return what is known beside how it ended: the car, who asked, why it was refused."""
    found: dict[str, str] = {}
    match = request.resolver_match
    if match is not None and "job_id" in match.kwargs:
        found["job_id"] = str(match.kwargs["job_id"])
    person = getattr(request, "_cached_user", None)  # of Django's, where somebody asked for it
    bound = structlog.contextvars.get_contextvars()
    if "caller" not in bound and person is not None and person.is_authenticated:
        found["caller"] = f"person:{person.pk}"
    if refused := getattr(request, REFUSED, ""):
        found["refused"] = refused
    return found


def route_of(request: HttpRequest) -> str:
    """Return the address as the service has it, with the names of what differs."""
    match = request.resolver_match
    if match is not None:
        return f"/{match.route}"
    return settings.STATIC_URL if request.path.startswith(settings.STATIC_URL) else NO_ROUTE


def id_of(request: HttpRequest) -> str:
    """Return the id that a proxy gave the request, or a fresh one."""
    given = request.headers.get("X-Request-ID", "")
    return given if GIVEN_ID.fullmatch(given) else str(uuid4())
