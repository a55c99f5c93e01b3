"""What the pages about notices share: who may see them, and parts that keep themselves fresh."""

import hashlib
from datetime import timedelta
from typing import Any, ClassVar
from uuid import UUID

from django.http import HttpRequest, HttpResponse, QueryDict
from django.template.loader import render_to_string
from django.utils.safestring import SafeString
from django.utils.timezone import localtime

from accounts.caller import Access, Caller, Scope, Side, either
from accounts.pages.base import PageView
from core.forms import PageForm
from core.problems import Gone
from notifications.models import Endpoint
from notifications.pages.kinds import WEBHOOK, Kind
from notifications.selectors import endpoint_of
from notifications.services.endpoints import EndpointNotOn

MANAGE = either(Scope.NOTICES)
TEMPLATES = "notifications/pages"
NOT_MODIFIED = 304
STOP = {"X-Poll": "stop"}


class NoticesPage(PageView):
    """A page for whoever looks after an organisation's notices."""

    access: ClassVar[dict[str, Access]] = {"GET": MANAGE, "POST": MANAGE}

    def show(
        self,
        request: HttpRequest,
        caller: Caller,
        template: str,
        *,
        status: int = 200,
        **about: Any,
    ) -> HttpResponse:
        """Render a page about notices; its place in the bar is the caller's side's."""
        about = {"here": "notices" if caller.side is Side.DEALER else "set_up", **about}
        return self.page(request, caller, f"{TEMPLATES}/{template}", status=status, **about)

    def answer_problem(self, request: HttpRequest, error: Exception) -> HttpResponse:
        """Show what went wrong, with a next step for somebody who has buttons."""
        return super().answer_problem(request, with_buttons(error))


class EndpointPage(NoticesPage):
    """A page about one endpoint of a kind; each address names its kind."""

    kind: Kind = WEBHOOK
    form_template = ""  # of a page that shows a form

    def endpoint(self, caller: Caller, endpoint_id: UUID) -> Endpoint:
        """Return the endpoint in the address. Raises NotFound."""
        return endpoint_of(caller, self.kind.channel, endpoint_id)

    def show_about(
        self,
        request: HttpRequest,
        caller: Caller,
        endpoint: Endpoint,
        template: str,
        *,
        status: int = 200,
        **about: Any,
    ) -> HttpResponse:
        """Render a page about an endpoint."""
        back = self.kind.to(endpoint)
        about = {"endpoint": endpoint, "kind": self.kind, "back": back, **about}
        return self.show(request, caller, template, status=status, **about)

    def show_form(
        self,
        request: HttpRequest,
        caller: Caller,
        endpoint: Endpoint,
        form: PageForm,
        status: int = 200,
    ) -> HttpResponse:
        """Render the page's form about an endpoint."""
        return self.show_about(
            request, caller, endpoint, self.form_template, status=status, form=form
        )


def part(template: str, **about: Any) -> tuple[SafeString, str]:
    """Render what is asked for again and again, and return it with its tag."""
    html = render_to_string(f"{TEMPLATES}/{template}", about)
    return html, hashlib.sha256(html.encode()).hexdigest()[:32]


def part_answer(request: HttpRequest, html: str, tag: str, *, ended: bool = False) -> HttpResponse:
    """Answer with the part, or with 304 where the asker has it; `ended`: it need not ask again.

    Compressing makes the tag a weak one, so only what stands between the quotes is compared.
    """
    same = f'"{tag}"' in request.headers.get("If-None-Match", "")
    response = HttpResponse(status=NOT_MODIFIED) if same else HttpResponse(html)
    response.headers["ETag"] = f'"{tag}"'
    for name, value in (STOP if ended else {}).items():
        response.headers[name] = value
    return response


def with_buttons(error: Exception) -> Exception:
    """Reword a problem for a page, where it speaks of a call."""
    if isinstance(error, EndpointNotOn):
        error.next_step = "Switch it on on its own page, then send this again."
    if isinstance(error, Gone):
        begins = localtime(error.extra["from"] + timedelta(minutes=1))
        error.detail = "Some of the notices of this range are not kept any more."
        error.next_step = f"Begin it at {begins.day} {begins:%b %Y, %H:%M} or later."
    return error


def kept_query(typed: QueryDict, names: tuple[str, ...]) -> str:
    """Return of a query what a list knows, to lead back to the same place."""
    kept = QueryDict(mutable=True)
    for name in names:
        if value := typed.get(name):
            kept[name] = str(value)
    return kept.urlencode()
