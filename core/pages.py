"""What every page of ours sends, and how a problem is shown to somebody who reads pages."""

from typing import TypeVar

import structlog
from django.http import HttpRequest, HttpResponse, HttpResponseBase
from django.middleware.gzip import GZipMiddleware
from django.shortcuts import render

from core.problems import Problem
from core.text import without_directions

Answer = TypeVar("Answer", bound=HttpResponse)
# Nothing comes from elsewhere and nothing runs that stands in the page itself. `blob:` shows a
# picture that waits on the device. Not `no-referrer`: with it browsers send `Origin: null` with a
# form, which no check against forgery can tell from a stranger's page.
HEADERS = {
    "Content-Security-Policy": (
        "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' blob:; "
        "connect-src 'self'; manifest-src 'self'; worker-src 'self'; form-action 'self'; "
        "base-uri 'none'; frame-ancestors 'none'"
    ),
    "X-Frame-Options": "DENY",  # also where the guard answers before Django's middleware
    "Referrer-Policy": "same-origin",
    # Kept nowhere: after a sign-out the way back leads to the sign-in, not to what was seen before.
    "Cache-Control": "no-store, private",
    "X-Robots-Tag": "noindex, nofollow",
}
# A part of a page that its script asks for again and again, with the ETag of what it has; the
# script has the browser keep none of it.
PART = "no-cache, private"
# What systems call; everything else is read by people.
FOR_SYSTEMS = ("/api/", "/healthz", "/readyz", "/metrics")


def with_page_headers(response: HttpResponse) -> HttpResponse:
    """Add what every page of ours sends, unless the page said otherwise itself."""
    for name, value in HEADERS.items():
        response.headers.setdefault(name, value)
    if response.headers.get("Content-Type", "").startswith("text/html"):
        response.content = without_directions(response.content)
    return response


def forget_kept(response: Answer) -> Answer:
    """Ask the browser to empty its caches of our pages and pictures: somebody is gone.

    Not "storage": what the tablet's queue has not sent yet lies there, and waits for its person.
    The pages and pictures that the tablet's worker keeps are forgotten by `core/page.js`.
    """
    response.headers["Clear-Site-Data"] = '"cache"'
    return response


def wants_page(request: HttpRequest) -> bool:
    """Return whether a person reads the answer: a browser says that it takes pages."""
    asked = request.headers.get("Accept", "")
    return not request.path_info.startswith(FOR_SYSTEMS) and "text/html" in asked


def problem_page(request: HttpRequest, problem: Problem) -> HttpResponse:
    """Show a problem as a page: what happened, and what to do next."""
    about = {
        "problem": problem,
        "request_id": structlog.contextvars.get_contextvars().get("request_id"),
    }
    response = render(request, "core/problem.html", about, status=problem.status)
    for name, value in problem.headers.items():
        response.headers[name] = value
    return with_page_headers(response)


class PagesGZipMiddleware(GZipMiddleware):
    """Compresses pages and what they load; systems ask often and for little."""

    def process_response(
        self, request: HttpRequest, response: HttpResponseBase
    ) -> HttpResponseBase:
        """Compress, but for the API."""
        if request.path_info.startswith(FOR_SYSTEMS):
            return response
        return super().process_response(request, response)
