"""DRF's exceptions and ours as RFC 9457 answers, with every wrong field at once."""

from collections.abc import Iterator, Mapping
from typing import Any

from django.core.exceptions import PermissionDenied
from django.db import InterfaceError, OperationalError
from django.http import Http404, HttpResponse
from rest_framework import exceptions

from core.answers import problem_response
from core.full_disk import disk_full, is_full_disk
from core.problems import (
    FieldError,
    InternalProblem,
    InvalidRequest,
    NotAcceptable,
    NotAllowed,
    NotFound,
    NotSignedIn,
    Problem,
    TooManyRequests,
    Unavailable,
    WrongContentType,
    WrongMethod,
)
from core.request_lines import note_failure

ANY_ENTRY = "body"


def answer_exception(error: Exception, context: Mapping[str, Any]) -> HttpResponse:
    """Return the problem document for any exception a view let through."""
    problem = as_problem(error)
    if isinstance(problem, NotSignedIn):
        problem.headers.setdefault("WWW-Authenticate", 'Bearer realm="Shutline"')
    if isinstance(problem, WrongContentType):
        read = " or ".join(parser.media_type for parser in context["view"].parser_classes)
        problem.next_step = f"Send {read} with a matching Content-Type header."
    if isinstance(problem, (InternalProblem, Unavailable)):
        note_failure(context["request"]._request, error)  # noqa: SLF001  DRF has no public name for it
    return problem_response(problem)


def as_problem(error: Exception) -> Problem:
    """Return the problem an exception stands for."""
    match error:
        case Problem():
            return error
        case exceptions.ValidationError():
            fields = list(field_errors(error.detail))
            return InvalidRequest(sentence_for(fields), errors=fields)
        case exceptions.NotAuthenticated() | exceptions.AuthenticationFailed():
            return NotSignedIn(str(error.detail))
        case exceptions.PermissionDenied() | PermissionDenied():
            return NotAllowed(str(error) or "You may not do this.")
        case exceptions.NotFound() | Http404():
            return NotFound("There is no such thing here, or it is not yours.")
        case exceptions.Throttled():
            seconds = max(1, round(getattr(error, "wait", None) or 1))
            return TooManyRequests(
                f"You are over the limit; try again in {seconds} s.",
                headers={"Retry-After": str(seconds)},
            )
        case _ if is_full_disk(error):
            return disk_full()
        case OperationalError() | InterfaceError():
            return Unavailable("The database does not answer.", headers={"Retry-After": "2"})
        case _:
            return _other(error)


def _other(error: Exception) -> Problem:
    match error:
        case exceptions.MethodNotAllowed():
            return WrongMethod(str(error.detail))
        case exceptions.NotAcceptable():
            return NotAcceptable(str(error.detail))
        case exceptions.UnsupportedMediaType():
            return WrongContentType(str(error.detail))
        case exceptions.APIException():
            return InvalidRequest(str(error.detail))
        case _:
            return InternalProblem("Something failed that should not have.")


def field_errors(detail: Any, path: str = "") -> Iterator[FieldError]:
    """Walk DRF's nested error detail; yield one entry for each message, with a dotted path."""
    if isinstance(detail, Mapping):
        for name, inner in detail.items():
            part = "" if name == "non_field_errors" else str(name)
            yield from field_errors(inner, ".".join(filter(None, (path, part))))
    elif isinstance(detail, (list, tuple)):
        for index, inner in enumerate(detail):
            nested = isinstance(inner, (Mapping, list, tuple))
            inner_path = ".".join(filter(None, (path, str(index)))) if nested else path
            yield from field_errors(inner, inner_path)
    else:
        yield {"field": path or ANY_ENTRY, "message": str(detail)}


def sentence_for(fields: list[FieldError]) -> str:
    """Return one sentence that names every wrong field."""
    names = list(dict.fromkeys(entry["field"] for entry in fields))
    if len(names) == 1:
        return f"{names[0]}: {fields[0]['message']}"
    return f"{len(names)} fields are not right: {', '.join(names)}."
