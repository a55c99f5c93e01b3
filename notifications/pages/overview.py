"""Where notices go: every webhook and e-mail recipient in one list, the troubled ones first."""

from typing import Any

from django.http import HttpRequest, HttpResponse
from django.utils.safestring import SafeString

from accounts.caller import Caller
from notifications.pages.base import NoticesPage, part, part_answer
from notifications.pages.lines import EndpointLine
from notifications.selectors.overview import doing_of, every_endpoint_of


def lines_of(caller: Caller) -> list[EndpointLine]:
    """Return the caller's endpoints as the list tells them, in its order."""
    endpoints = every_endpoint_of(caller)
    doing = doing_of(endpoints)
    return sorted(
        (EndpointLine(endpoint, doing[endpoint.pk]) for endpoint in endpoints),
        key=lambda line: line.order,
    )


def list_part(caller: Caller) -> tuple[SafeString, str, bool]:
    """Return the list, its tag, and whether there is anything in it."""
    lines = lines_of(caller)
    html, tag = part(
        "list.html",
        needing=[line for line in lines if line.needs_you],
        others=[line for line in lines if not line.needs_you],
    )
    return html, tag, bool(lines)


class Notices(NoticesPage):
    """The list."""

    http_method_names = ["get", "head"]

    def get(self, request: HttpRequest, caller: Caller) -> HttpResponse:
        """Show it."""
        html, tag, any_there = list_part(caller)
        about: dict[str, Any] = {"part": html, "tag": tag, "any": any_there}
        return self.show(request, caller, "notices.html", **about)


class NoticesPart(NoticesPage):
    """The list alone, for the page that keeps itself fresh."""

    http_method_names = ["get", "head"]

    def get(self, request: HttpRequest, caller: Caller) -> HttpResponse:
        """Show it, unless it is as it was."""
        html, tag, _ = list_part(caller)
        return part_answer(request, html, tag)
