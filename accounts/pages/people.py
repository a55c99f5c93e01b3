"""The workshop's people: who signs in, as what, and whether they still may."""

from typing import Any, ClassVar
from uuid import UUID

from django.http import HttpRequest, HttpResponse
from django.urls import reverse

from accounts.access import WORKSHOP_HEADS
from accounts.caller import Access, Caller
from accounts.models import Person
from accounts.pages.base import PageView
from accounts.pages.forms import FINE, OnceView, attempt
from accounts.pages.inputs import ColleagueInput, PersonChangeInput
from accounts.selectors import organisation_of, people_for, person_for, pin_state
from accounts.services import password_renew, person_add, person_change, pin_void, ways_in_of
from accounts.services.checks import MAX_NAME_LENGTH
from accounts.services.people import refuse_above
from core.forms import Field, PageForm

ROLE_WORDS = {
    Person.Role.VALETER: "Valeter: works on the cars, sees no prices",
    Person.Role.MANAGER: "Manager: the whole desk, but changes no owner",
    Person.Role.OWNER: "Owner: everything",
}
NAME = Field("name", "Name", longest=MAX_NAME_LENGTH, required=True)
EMAIL = Field("email", "E-mail address", "email", hint="They sign in with it.", required=True)
ACTIVE = Field("is_active", "May sign in", "checkbox", hint="Without it they are out at once.")


def role_field(caller: Caller) -> Field:
    """Return the choice of roles that the caller may give."""
    owner = caller.role == Person.Role.OWNER
    roles = [choice for choice in ROLE_WORDS.items() if owner or choice[0] != Person.Role.OWNER]
    return Field("role", "Role", "choice", choices=roles, value=Person.Role.VALETER.value)


class People(PageView):
    """Everybody of the workshop."""

    access: ClassVar[dict[str, Access]] = {"GET": WORKSHOP_HEADS}

    def get(self, request: HttpRequest, caller: Caller) -> HttpResponse:
        """List them."""
        rows = [{"person": person, "pin": pin_state(person)} for person in people_for(caller)]
        return self.page(request, caller, "accounts/people.html", here="set_up", rows=rows)


class PersonNew(OnceView):
    """Somebody new."""

    access: ClassVar[dict[str, Access]] = {"GET": WORKSHOP_HEADS, "POST": WORKSHOP_HEADS}

    def get(self, request: HttpRequest, caller: Caller) -> HttpResponse:
        """Show the form."""
        return self.show(request, caller, self.form(caller))

    @staticmethod
    def form(caller: Caller, **about: Any) -> PageForm:
        """Return the form, blank or as it was sent."""
        return PageForm(ColleagueInput, (NAME, EMAIL, role_field(caller)), **about)

    def show(
        self, request: HttpRequest, caller: Caller, form: PageForm, status: int = FINE
    ) -> HttpResponse:
        """Show the form, perhaps with what was wrong in it."""
        template = "accounts/person_new.html"
        return self.page(request, caller, template, here="set_up", form=form, status=status)

    def post(self, request: HttpRequest, caller: Caller) -> HttpResponse:
        """Add them, and show their password this once."""

        def add(values: dict[str, Any]) -> tuple[Person, str]:
            refuse_above(caller, values["role"])
            return person_add(organisation=organisation_of(caller), **values)

        form = self.form(caller, typed=request.POST)
        made, status = attempt(form, add)
        if made is None:
            return self.show(request, caller, form, status)
        return once(self, request, caller, *made)


class PersonPage(PageView):
    """One person: what they are called, their role, and whether they may sign in."""

    access: ClassVar[dict[str, Access]] = {"GET": WORKSHOP_HEADS, "POST": WORKSHOP_HEADS}

    def get(self, request: HttpRequest, caller: Caller, person_id: UUID) -> HttpResponse:
        """Show the form as it stands."""
        person = person_for(caller, person_id)
        standing = {"name": person.name, "role": person.role, "is_active": person.is_active}
        return self.show(request, caller, person, self.form(caller, standing=standing))

    @staticmethod
    def form(caller: Caller, **about: Any) -> PageForm:
        """Return the form, as it stands or as it was sent."""
        return PageForm(PersonChangeInput, (NAME, role_field(caller), ACTIVE), **about)

    def show(
        self,
        request: HttpRequest,
        caller: Caller,
        person: Person,
        form: PageForm,
        status: int = FINE,
    ) -> HttpResponse:
        """Show them, with a form for whoever may change them."""
        return self.page(
            request,
            caller,
            "accounts/person.html",
            here="set_up",
            form=form,
            person=person,
            pin_state=pin_state(person),
            ways_in=ways_in_of(person),
            may_change=caller.role == Person.Role.OWNER or person.role != Person.Role.OWNER,
            status=status,
        )

    def post(self, request: HttpRequest, caller: Caller, person_id: UUID) -> HttpResponse:
        """Change them."""
        person = person_for(caller, person_id)
        form = self.form(caller, typed=request.POST)
        changed, status = attempt(
            form, lambda values: person_change(caller=caller, person=person, **values)
        )
        if changed is None:
            return self.show(request, caller, person_for(caller, person_id), form, status)
        return self.done(request, reverse("desk_people"), f"Saved: {changed.name}.")


class PersonPin(PageView):
    """Takes somebody's PIN away."""

    http_method_names = ["post"]
    access: ClassVar[dict[str, Access]] = {"POST": WORKSHOP_HEADS}

    def post(self, request: HttpRequest, caller: Caller, person_id: UUID) -> HttpResponse:
        """Take it away; they set another with their password."""
        person = pin_void(person=person_for(caller, person_id))
        message = f"{person.name} has no PIN any more, and sets a new one with their password."
        return self.done(request, reverse("desk_person", args=[person.pk]), message)


class PersonPassword(OnceView):
    """Gives somebody a new password, where they lost theirs."""

    http_method_names = ["post"]
    access: ClassVar[dict[str, Access]] = {"POST": WORKSHOP_HEADS}

    def post(self, request: HttpRequest, caller: Caller, person_id: UUID) -> HttpResponse:
        """Make it, and show it this once."""
        person = person_for(caller, person_id)
        return once(self, request, caller, person, password_renew(caller=caller, person=person))


def once(
    view: OnceView, request: HttpRequest, caller: Caller, person: Person, password: str
) -> HttpResponse:
    """Show a password that was just made."""
    return view.shown_once(
        request,
        caller,
        secret=password,
        here="set_up",
        title=f"{person.name} can sign in",
        what=f"Password of {person.name}, who signs in as {person.email}",
        advice="Give it to them in person or over the telephone. "
        "They change it under their own name after signing in.",
        back=reverse("desk_people"),
        back_words="To the people",
    )
