"""Who works at the tablet now: people as buttons and their PIN; and what makes it a tablet."""

from typing import Any, ClassVar
from uuid import UUID

from django.http import HttpRequest, HttpResponse
from django.urls import reverse
from django.utils.decorators import method_decorator
from django.views.decorators.debug import sensitive_post_parameters

from accounts.access import WORKSHOP_HEADS
from accounts.auth import DEVICE_COOKIE, device_of, session_begin
from accounts.caller import Access, Caller, Scope, workshops
from accounts.models import Device, Person
from accounts.pages.base import PageView, nobody_any_more, see_other
from accounts.pages.device import TabletView, carry_secret, changed_address, who_page
from accounts.pages.inputs import DeviceInput
from accounts.pages.me import own
from accounts.selectors import organisation_of, people_at
from accounts.services import (
    device_add,
    device_secret_renew,
    device_used,
    pin_check,
    pin_guess_wrong,
    pin_guesses_check,
)
from accounts.services.devices import MAX_DEVICE_NAME_LENGTH, SESSION_DEVICE
from core.client_address import client_address
from core.forms import Field, PageForm
from core.problems import InvalidRequest, NotAllowed, NotSignedIn, Problem

DEVICE_FIELDS = (
    Field(
        "name",
        "Name of the tablet",
        required=True,
        hint="What is written on it, or where it hangs.",
        longest=MAX_DEVICE_NAME_LENGTH,
    ),
)


def own_device(request: HttpRequest, caller: Caller | None) -> Device | None:
    """Return the tablet that this browser is, unless it is another workshop's than the caller's."""
    device = device_of(request)
    if device is None or (caller and device.workshop_id != caller.organisation_id):
        return None
    return device


def chosen_of(device: Device, person_id: str) -> Person | None:
    """Return who was chosen, if they may work at the tablet."""
    try:
        return people_at(device.workshop).filter(pk=UUID(person_id)).first()
    except ValueError:
        return None


@method_decorator(sensitive_post_parameters("pin"), name="dispatch")
class Who(TabletView):
    """The workshop's people, large enough for a thumb in a wet glove, and their PIN."""

    access: ClassVar[dict[str, Access]] = {
        "GET": workshops(Scope.READ),
        "POST": workshops(Scope.READ),
    }

    def ask_who(self, request: HttpRequest) -> HttpResponse:
        """Show the page itself to nobody: it is how somebody signs in here."""
        device = own_device(request, None)
        if device is None:
            return super().ask_who(request)
        return self.change(request, device) if request.method == "POST" else self.show(request)

    def get(self, request: HttpRequest, caller: Caller) -> HttpResponse:
        """Show who may work here."""
        return self.show(request, caller)

    def show(self, request: HttpRequest, caller: Caller | None = None) -> HttpResponse:
        """Show the people, or the PIN of the one who was chosen."""
        device = own_device(request, caller)
        return who_page(
            request,
            device,
            caller=caller,
            chosen=chosen_of(device, request.GET.get("person", "")) if device else None,
            onward=request.GET.get("onward", ""),
            form=PageForm(DeviceInput, DEVICE_FIELDS),
        )

    def post(self, request: HttpRequest, caller: Caller) -> HttpResponse:
        """Change the person."""
        device = own_device(request, caller)
        if device is None:
            raise NotAllowed(
                "This browser is not the workshop's tablet, so no PIN is taken here.",
                next_step="Sign in with e-mail address and password, and make it one.",
            )
        return self.change(request, device, caller)

    def change(
        self, request: HttpRequest, device: Device, caller: Caller | None = None
    ) -> HttpResponse:
        """Sign in whoever the PIN says, under a new session."""
        typed = {name: request.POST.get(name, "") for name in ("person", "pin", "onward")}
        try:
            person = pin_of(device, typed["person"], typed["pin"], address=client_address(request))
        except Problem as problem:
            response = who_page(
                request,
                device,
                caller=caller,
                status=problem.status,
                problem=problem,
                chosen=chosen_of(device, typed["person"]),
                onward=typed["onward"],
            )
            for name, value in problem.headers.items():
                response.headers[name] = value
            return response
        device_used(device=device)
        session_begin(request, person, by_pin=True)
        # The cookie begins to run anew, so that a tablet in use stays one.
        secret = device_secret_renew(device=device, presented=request.COOKIES[DEVICE_COOKIE])
        onward = see_other(changed_address(typed["onward"]))
        return carry_secret(nobody_any_more(request, onward), secret)


def pin_of(device: Device, person_id: str, pin: str, *, address: str) -> Person:
    """Return whose PIN this is. Raises what `pin_check` does; nobody chosen is InvalidRequest."""
    pin_guesses_check(address=address)
    try:
        return pin_check(workshop_id=device.workshop_id, person_id=UUID(person_id), pin=pin)
    except ValueError as error:
        raise InvalidRequest(
            "Nobody was chosen.", next_step="Tap your name first, then give your PIN."
        ) from error
    except NotSignedIn:
        pin_guess_wrong(address=address)
        raise


class MakeTablet(PageView):
    """Makes this browser the workshop's tablet."""

    http_method_names = ["post"]
    access: ClassVar[dict[str, Access]] = {"POST": WORKSHOP_HEADS}

    def post(self, request: HttpRequest, caller: Caller) -> HttpResponse:
        """Give the browser a secret of its own."""
        form = PageForm(DeviceInput, DEVICE_FIELDS, typed=request.POST)
        if not form.is_valid():
            about: dict[str, Any] = {"form": form, "onward": "", "chosen": None}
            return who_page(request, None, caller=caller, status=400, **about)
        fresh = device_add(
            workshop=organisation_of(caller), name=form.values["name"], person=own(caller)
        )
        request.session[SESSION_DEVICE] = str(fresh.device.pk)
        message = f"This is the workshop's tablet now: {fresh.device.name}."
        return carry_secret(self.done(request, reverse("tablet_who"), message), fresh.secret)
