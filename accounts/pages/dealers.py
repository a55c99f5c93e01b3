"""The workshop's trade accounts: which dealers send cars, and on what terms."""

from typing import Any, ClassVar
from uuid import UUID

from django.http import HttpRequest, HttpResponse
from django.urls import reverse

from accounts.access import WORKSHOP_HEADS
from accounts.caller import Access, Caller
from accounts.models import TradeAccount
from accounts.pages.base import PageView
from accounts.pages.forms import FINE, OnceView, attempt
from accounts.pages.inputs import AccountInput, DealerInput, PersonInput
from accounts.pages.people import EMAIL, NAME
from accounts.selectors import (
    dealer_account_for,
    dealer_accounts_for,
    organisation_of,
)
from accounts.services import dealer_add, dealer_person_add, trade_account_change
from accounts.services.checks import MAX_NAME_LENGTH
from core.forms import Field, PageForm

ACCEPTS = Field(
    "accepts_by_itself",
    "Take their orders without asking",
    "checkbox",
    hint="Without it, each order waits until you accept or decline it.",
    value=True,
)
OPEN = Field(
    "active",
    "Open for new orders",
    "checkbox",
    hint="Without it, they can send no further car; those that are here go on.",
)
DEALER_FIELDS = (
    Field(
        "name",
        "Name of the dealer",
        longest=MAX_NAME_LENGTH,
        required=True,
        hint="A dealer that another workshop works for already is joined to yours by the operator.",
    ),
    Field(
        "contact_email",
        "E-mail address for warnings",
        "email",
        hint="Who is told at once about a car that must not be driven, and when notices fail.",
    ),
    ACCEPTS,
)
HEADS: dict[str, Access] = {"GET": WORKSHOP_HEADS, "POST": WORKSHOP_HEADS}


class Dealers(PageView):
    """Every trade account, the open ones first."""

    access: ClassVar[dict[str, Access]] = {"GET": WORKSHOP_HEADS}

    def get(self, request: HttpRequest, caller: Caller) -> HttpResponse:
        """List them."""
        accounts = dealer_accounts_for(caller)
        return self.page(request, caller, "accounts/dealers.html", here="set_up", accounts=accounts)


class DealerNew(PageView):
    """A dealer who sends cars from now on."""

    access: ClassVar[dict[str, Access]] = HEADS

    def get(self, request: HttpRequest, caller: Caller) -> HttpResponse:
        """Show the form."""
        return self.show(request, caller, PageForm(DealerInput, DEALER_FIELDS))

    def show(
        self, request: HttpRequest, caller: Caller, form: PageForm, status: int = FINE
    ) -> HttpResponse:
        """Show the form, perhaps with what was wrong in it."""
        template = "accounts/dealer_new.html"
        return self.page(request, caller, template, here="set_up", form=form, status=status)

    def post(self, request: HttpRequest, caller: Caller) -> HttpResponse:
        """Make the dealer and open its account."""
        form = PageForm(DealerInput, DEALER_FIELDS, typed=request.POST)
        account, status = attempt(
            form, lambda values: dealer_add(workshop=organisation_of(caller), **values)
        )
        if account is None:
            return self.show(request, caller, form, status)
        message = f"{account.dealer.name} has an account now. Next: somebody there who signs in."
        return self.done(request, reverse("desk_dealer", args=[account.pk]), message)


class DealerPage(PageView):
    """One trade account: its terms, and whether it is open."""

    access: ClassVar[dict[str, Access]] = HEADS
    fields: ClassVar[tuple[Field, ...]] = (ACCEPTS, OPEN)

    def get(self, request: HttpRequest, caller: Caller, account_id: UUID) -> HttpResponse:
        """Show it as it stands."""
        account = dealer_account_for(caller, account_id)
        standing = {"accepts_by_itself": account.accepts_by_itself, "active": account.active}
        form = PageForm(AccountInput, self.fields, standing=standing)
        return self.page(
            request, caller, "accounts/dealer.html", here="set_up", account=account, form=form
        )

    def post(self, request: HttpRequest, caller: Caller, account_id: UUID) -> HttpResponse:
        """Change it; two boxes hold nothing that could be wrong."""
        account = dealer_account_for(caller, account_id)
        form = PageForm(AccountInput, self.fields, typed=request.POST)
        changed, status = attempt(
            form, lambda values: trade_account_change(account=account, **values)
        )
        if changed is None:
            about = {"here": "set_up", "account": account, "form": form}
            return self.page(request, caller, "accounts/dealer.html", status=status, **about)
        return self.done(request, reverse("desk_dealers"), f"Saved: {account.dealer.name}.")


class DealerPerson(OnceView):
    """The first person of a dealer, who signs in for it."""

    access: ClassVar[dict[str, Access]] = HEADS

    def get(self, request: HttpRequest, caller: Caller, account_id: UUID) -> HttpResponse:
        """Show the form."""
        account = dealer_account_for(caller, account_id)
        return self.show(request, caller, account, PageForm(PersonInput, (NAME, EMAIL)))

    def show(
        self,
        request: HttpRequest,
        caller: Caller,
        account: TradeAccount,
        form: PageForm,
        status: int = FINE,
    ) -> HttpResponse:
        """Show the form, perhaps with what was wrong in it."""
        about: dict[str, Any] = {"here": "set_up", "account": account, "form": form}
        return self.page(request, caller, "accounts/dealer_person.html", status=status, **about)

    def post(self, request: HttpRequest, caller: Caller, account_id: UUID) -> HttpResponse:
        """Add them, and show their password this once."""
        account = dealer_account_for(caller, account_id)
        form = PageForm(PersonInput, (NAME, EMAIL), typed=request.POST)
        made, status = attempt(form, lambda values: dealer_person_add(account=account, **values))
        if made is None:
            return self.show(request, caller, account, form, status)
        person, password = made
        return self.shown_once(
            request,
            caller,
            secret=password,
            here="set_up",
            title=f"{person.name} can sign in",
            what=f"Password of {person.name}, who signs in as {person.email}",
            advice=f"Give it to them over the telephone. They see {account.dealer.name}'s cars "
            "and send new ones, and change the password under their own name.",
            back=reverse("desk_dealers"),
            back_words="To the dealers",
        )
