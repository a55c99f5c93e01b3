"""One's own PIN and password."""

from collections.abc import Sequence
from typing import ClassVar

from django.contrib.auth import update_session_auth_hash
from django.http import HttpRequest, HttpResponse
from django.urls import reverse
from django.utils.decorators import method_decorator
from django.views.decorators.debug import sensitive_post_parameters

from accounts.auth import confirm_password
from accounts.caller import Access, Caller, Side, people
from accounts.models import Person
from accounts.pages.base import PageView
from accounts.pages.inputs import PasswordInput, PinInput
from accounts.selectors import person_for, pin_state
from accounts.services import password_change, pin_set
from accounts.services.pins import MAX_DIGITS, MIN_DIGITS
from core.api.serializers import StrictSerializer
from core.forms import Field, PageForm
from core.problems import InvalidRequest, Problem

CURRENT = Field(
    "current",
    "Your password now",
    "password",
    hint="To show that it is you.",
    autocomplete="current-password",
)
PIN_FIELDS = (
    Field(
        "pin",
        "New PIN",
        "password",
        hint=f"{MIN_DIGITS} to {MAX_DIGITS} digits; not all the same, and none in a row.",
        longest=MAX_DIGITS,
    ),
    Field("again", "The new PIN again", "password", longest=MAX_DIGITS),
    CURRENT,
)
PASSWORD_FIELDS = (
    CURRENT,
    Field(
        "password",
        "New password",
        "password",
        hint="At least 10 characters; some words that only you put together are good.",
        autocomplete="new-password",
    ),
    Field("again", "The new password again", "password", autocomplete="new-password"),
)
ANYBODY = people()
WORKSHOP = people(sides=frozenset({Side.WORKSHOP}))


class Me(PageView):
    """Who is signed in, and the way to their PIN and password."""

    access: ClassVar[dict[str, Access]] = {"GET": ANYBODY}

    def get(self, request: HttpRequest, caller: Caller) -> HttpResponse:
        """Show it."""
        person = own(caller)
        return self.page(
            request, caller, "accounts/me.html", person=person, pin_state=pin_state(person)
        )


class _OwnForm(PageView):
    """A form about oneself."""

    serializer: ClassVar[type[StrictSerializer]]
    fields: ClassVar[Sequence[Field]]
    title: ClassVar[str]

    def get(self, request: HttpRequest, caller: Caller) -> HttpResponse:
        """Show the form, empty."""
        return self.show(request, caller, PageForm(self.serializer, self.fields))

    def show(
        self, request: HttpRequest, caller: Caller, form: PageForm, status: int = 200
    ) -> HttpResponse:
        """Show the form, perhaps with what was wrong in it."""
        template = "accounts/me_form.html"
        return self.page(request, caller, template, status=status, form=form, title=self.title)

    def confirmed(self, request: HttpRequest, person: Person) -> PageForm:
        """Return the form as it was sent; it is right only with the person's own password."""
        form = PageForm(self.serializer, self.fields, typed=request.POST)
        if form.is_valid():
            try:
                confirm_password(request, person=person, password=form.values["current"])
            except Problem as problem:
                form.add_problem(problem)
        return form


@method_decorator(sensitive_post_parameters(), name="dispatch")
class OwnPin(_OwnForm):
    """Sets or changes one's own PIN."""

    access: ClassVar[dict[str, Access]] = {"GET": WORKSHOP, "POST": WORKSHOP}
    serializer, fields, title = PinInput, PIN_FIELDS, "PIN for the tablet"

    def post(self, request: HttpRequest, caller: Caller) -> HttpResponse:
        """Set it."""
        person = own(caller)
        form = self.confirmed(request, person)
        if form.refused:
            return self.show(request, caller, form, InvalidRequest.status)
        pin_set(person=person, pin=form.values["pin"])
        return self.done(request, reverse("me"), "Your new PIN counts from now on.")


@method_decorator(sensitive_post_parameters(), name="dispatch")
class OwnPassword(_OwnForm):
    """Changes one's own password."""

    access: ClassVar[dict[str, Access]] = {"GET": ANYBODY, "POST": ANYBODY}
    serializer, fields, title = PasswordInput, PASSWORD_FIELDS, "Change the password"

    def post(self, request: HttpRequest, caller: Caller) -> HttpResponse:
        """Change it; the sign-ins on other devices end, this one goes on."""
        person = own(caller)
        form = self.confirmed(request, person)
        if form.refused:
            return self.show(request, caller, form, InvalidRequest.status)
        password_change(person=person, password=form.values["password"])
        update_session_auth_hash(request, person)
        message = "Your new password counts from now on. Your sign-ins on other devices have ended."
        return self.done(request, reverse("me"), message)


def own(caller: Caller) -> Person:
    """Return the person who is signed in."""
    assert caller.person_id is not None  # noqa: S101  a page has no other callers
    return person_for(caller, caller.person_id)
