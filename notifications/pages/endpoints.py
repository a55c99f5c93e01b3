"""Adding, changing and deleting where notices go; a secret is shown once, in the answer itself."""

from typing import Any, ClassVar
from uuid import UUID

from django.http import HttpRequest, HttpResponse
from django.urls import reverse

from accounts.caller import Access, Caller
from core.clock import now
from core.forms import PageForm
from core.problems import Problem
from notifications.models import Endpoint
from notifications.pages.base import MANAGE, EndpointPage, NoticesPage
from notifications.pages.kinds import WEBHOOK, Kind
from notifications.services.endpoints import (
    EndpointChange,
    FreshSecret,
    SameAddress,
    SecretJustRotated,
    endpoint_add,
    endpoint_change,
    endpoint_remove,
    endpoint_test,
    secret_rotate,
)

POST_ONLY: dict[str, Access] = {"POST": MANAGE}
TAKEN = "There is one with this address already: change that one, or delete it first."


def refuse(form: PageForm, kind: Kind, problem: Problem) -> None:
    """Show what a service refused in the form."""
    if isinstance(problem, SameAddress):
        form.add([{"field": kind.field.name, "message": TAKEN}])
    else:
        form.add_problem(problem)


class EndpointNew(NoticesPage):
    """A new webhook or e-mail recipient."""

    kind: Kind = WEBHOOK

    def get(self, request: HttpRequest, caller: Caller) -> HttpResponse:
        """Show the form."""
        return self._form(request, caller, self.kind.new_form())

    def post(self, request: HttpRequest, caller: Caller) -> HttpResponse:
        """Add it; the secret of a webhook stands in the answer, which nobody's cache keeps."""
        form = self.kind.new_form(request.POST)
        if not form.is_valid():
            return self._form(request, caller, form, 400)
        try:
            fresh = endpoint_add(caller=caller, channel=self.kind.channel, **form.values)
        except Problem as problem:
            refuse(form, self.kind, problem)
            return self._form(request, caller, form, problem.status)
        if self.kind.is_webhook:
            return show_secret(self, request, caller, self.kind, fresh)
        message = f"Notices go to {fresh.endpoint.address} from now on."
        return self.done(request, self.kind.to(fresh.endpoint), message)

    def _form(
        self, request: HttpRequest, caller: Caller, form: PageForm, status: int = 200
    ) -> HttpResponse:
        about: dict[str, Any] = {"form": form, "kind": self.kind}
        return self.show(request, caller, "new.html", status=status, **about)


def show_secret(
    page: NoticesPage, request: HttpRequest, caller: Caller, kind: Kind, fresh: FreshSecret
) -> HttpResponse:
    """Show a secret the one time it can be shown."""
    response = page.show(
        request,
        caller,
        "secret.html",
        kind=kind,
        endpoint=fresh.endpoint,
        secret=fresh.secret,
        back=kind.to(fresh.endpoint),
    )
    response.headers["Cache-Control"] = "no-store"
    return response


class EndpointEdit(EndpointPage):
    """Where it goes, what it takes, and a note."""

    form_template = "edit.html"

    def get(self, request: HttpRequest, caller: Caller, endpoint_id: UUID) -> HttpResponse:
        """Show the form with what stands."""
        endpoint = self.endpoint(caller, endpoint_id)
        return self.show_form(request, caller, endpoint, self.kind.change_form(endpoint))

    def post(self, request: HttpRequest, caller: Caller, endpoint_id: UUID) -> HttpResponse:
        """Change it."""
        endpoint = self.endpoint(caller, endpoint_id)
        form = self.kind.change_form(endpoint, request.POST)
        if not form.is_valid():
            return self.show_form(request, caller, endpoint, form, 400)
        try:
            changed = endpoint_change(
                caller=caller,
                channel=self.kind.channel,
                endpoint_id=endpoint_id,
                changes=form.taken,
            )
        except SameAddress as problem:
            refuse(form, self.kind, problem)
            return self.show_form(request, caller, endpoint, form, problem.status)
        return self.done(request, self.kind.to(changed), "Changed.")


class EndpointSwitch(EndpointPage):
    """The switch: on or off."""

    http_method_names = ["post"]
    access: ClassVar[dict[str, Access]] = POST_ONLY

    def post(self, request: HttpRequest, caller: Caller, endpoint_id: UUID) -> HttpResponse:
        """Switch it on, or off where the button says so."""
        state = Endpoint.State.OFF if request.POST.get("state") == "off" else Endpoint.State.ON
        endpoint = endpoint_change(
            caller=caller,
            channel=self.kind.channel,
            endpoint_id=endpoint_id,
            changes=EndpointChange(state=state),
        )
        on = "It is on. What happened meanwhile was not sent: send it again with “A range again”."
        off = "It is off. Nothing is sent there, and what waited was stopped."
        return self.done(request, self.kind.to(endpoint), on if state == "on" else off)


class EndpointTest(EndpointPage):
    """A test notice."""

    http_method_names = ["post"]
    access: ClassVar[dict[str, Access]] = POST_ONLY

    def post(self, request: HttpRequest, caller: Caller, endpoint_id: UUID) -> HttpResponse:
        """Send one, to this endpoint only."""
        endpoint_test(caller=caller, channel=self.kind.channel, endpoint_id=endpoint_id)
        message = "A test is on its way. What becomes of it shows below in a moment."
        to = reverse(self.kind.name, kwargs={"endpoint_id": endpoint_id})
        return self.done(request, to, message)


class EndpointDelete(EndpointPage):
    """Deleting, after a look at what that means."""

    def get(self, request: HttpRequest, caller: Caller, endpoint_id: UUID) -> HttpResponse:
        """Ask whether it is meant."""
        endpoint = self.endpoint(caller, endpoint_id)
        return self.show_about(request, caller, endpoint, "delete.html")

    def post(self, request: HttpRequest, caller: Caller, endpoint_id: UUID) -> HttpResponse:
        """Delete it."""
        gone = endpoint_remove(caller=caller, channel=self.kind.channel, endpoint_id=endpoint_id)
        message = f"Deleted: nothing goes to {gone.address} any more."
        return self.done(request, reverse("notices"), message)


class SecretRotate(EndpointPage):
    """A new secret for a webhook."""

    def get(self, request: HttpRequest, caller: Caller, endpoint_id: UUID) -> HttpResponse:
        """Say what it means, and whether an older secret still signs."""
        endpoint = self.endpoint(caller, endpoint_id)
        return self._form(request, caller, endpoint)

    def post(self, request: HttpRequest, caller: Caller, endpoint_id: UUID) -> HttpResponse:
        """Make it and show it; where one was made today, ask whether that never arrived."""
        newest = "replace_newest" in request.POST
        try:
            fresh = secret_rotate(caller=caller, endpoint_id=endpoint_id, replace_newest=newest)
        except SecretJustRotated as problem:
            endpoint = self.endpoint(caller, endpoint_id)
            return self._form(request, caller, endpoint, problem.status)
        return show_secret(self, request, caller, self.kind, fresh)

    def _form(
        self, request: HttpRequest, caller: Caller, endpoint: Endpoint, status: int = 200
    ) -> HttpResponse:
        until = endpoint.old_secret_until
        older_until = until if until is not None and until > now() else None
        about = {"older_until": older_until}
        return self.show_about(request, caller, endpoint, "rotate.html", status=status, **about)
