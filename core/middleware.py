"""Turns away requests no view should ever see: too large, or with NUL bytes in the address."""

from collections.abc import Callable
from urllib.parse import unquote_to_bytes

from django.conf import settings
from django.http import HttpRequest, HttpResponseBase
from django.urls import Resolver404, resolve

from core.answers import problem_answer
from core.problems import InvalidRequest, Problem, TooLarge

# What the front (core.serving.front) found wrong with a body, so that it is answered here.
FOUND_BY_FRONT = "shutline.problem"
MAX_DIGITS = 18  # Python itself refuses to read numbers of some thousand digits


class RequestGuardMiddleware:
    """Answers 413 for a body over the limit and 400 for an address that cannot be text."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponseBase]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponseBase:
        problem = self.problem_with(request)
        return problem_answer(request, problem) if problem else self.get_response(request)

    @staticmethod
    def process_exception(request: HttpRequest, exception: Exception) -> HttpResponseBase | None:
        """Answer a problem that a view of Django's own let through, as the operator's sign-in."""
        return problem_answer(request, exception) if isinstance(exception, Problem) else None

    @staticmethod
    def problem_with(request: HttpRequest) -> Problem | None:
        """Return why the request is refused, or None."""
        found: Problem | None = request.META.get(FOUND_BY_FRONT)
        if found is not None:
            return found
        length = request.META.get("CONTENT_LENGTH") or "0"
        if not (length.isascii() and length.isdigit()):
            return InvalidRequest("The Content-Length header is not a number.")
        if len(length) > MAX_DIGITS or int(length) > settings.BODY_LIMIT_BYTES:
            limit = body_limit_at(request.path_info)
            if len(length) > MAX_DIGITS or int(length) > limit:
                return TooLarge(f"The body is too long; at most {limit // 1024} KiB are read.")
        # WSGI hands bytes over as Latin-1 text.
        raw = request.META.get("QUERY_STRING", "").encode("latin-1", "replace")
        if raw:
            query = unquote_to_bytes(raw)
            try:
                query.decode()
            except UnicodeDecodeError:
                return InvalidRequest("The query is not UTF-8 text.")
            if b"\x00" in query:
                return InvalidRequest("The query holds a NUL byte.")
        if "\x00" in request.path:
            return InvalidRequest("The address holds a NUL byte.")
        return None


def body_limit_at(path: str) -> int:
    """Return the most bytes that are read at this address: what its view says, or the usual.

    The front reads no more than this; where there is none (in tests), a body without a length is
    read as empty, and of a longer one than it claims only so much is read.
    """
    try:
        view = getattr(resolve(path).func, "cls", None)
    except Resolver404:
        view = None
    own_limit = getattr(view, "body_limit_bytes", None)
    return int(own_limit() if own_limit else settings.BODY_LIMIT_BYTES)
