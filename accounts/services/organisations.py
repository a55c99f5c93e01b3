"""Organisations and the trade accounts between them."""

from uuid import UUID

from django.db import IntegrityError, transaction
from django.db.models import F

from accounts.caller import Side
from accounts.models import Organisation, TradeAccount
from accounts.services.checks import email_error, name_error, refuse
from core.problems import Conflict


def _organisation_add(*, kind: Side, name: str, contact_email: str) -> Organisation:
    refuse(
        ("name", name_error(name)),
        ("contact_email", email_error(contact_email) if contact_email else ""),
    )
    try:
        with transaction.atomic():
            return Organisation.objects.create(
                kind=kind.value, name=name.strip(), contact_email=contact_email
            )
    except IntegrityError as error:
        raise Conflict(
            f"There is a {kind} called {name!r} already.", next_step="Choose another name."
        ) from error


def workshop_add(*, name: str, contact_email: str = "") -> Organisation:
    """Make a workshop. Raises InvalidRequest, or Conflict where the name is taken."""
    return _organisation_add(kind=Side.WORKSHOP, name=name, contact_email=contact_email)


@transaction.atomic
def dealer_add(
    *, name: str, workshop: Organisation, accepts_by_itself: bool = True, contact_email: str = ""
) -> TradeAccount:
    """Make a dealer with a trade account at the workshop."""
    dealer = _organisation_add(kind=Side.DEALER, name=name, contact_email=contact_email)
    return trade_account_open(dealer=dealer, workshop=workshop, accepts_by_itself=accepts_by_itself)


def trade_account_open(
    *, dealer: Organisation, workshop: Organisation, accepts_by_itself: bool
) -> TradeAccount:
    """Open a trade account between a dealer and a workshop."""
    refuse(
        ("dealer", "" if dealer.kind == Side.DEALER else "This is not a dealer."),
        ("workshop", "" if workshop.kind == Side.WORKSHOP else "This is not a workshop."),
    )
    try:
        with transaction.atomic():
            return TradeAccount.objects.create(
                dealer=dealer, workshop=workshop, accepts_by_itself=accepts_by_itself
            )
    except IntegrityError as error:
        raise Conflict(f"{dealer} has an account with {workshop} already.") from error


def trade_account_change(
    *, account: TradeAccount, accepts_by_itself: bool | None = None, active: bool | None = None
) -> TradeAccount:
    """Return whether the workshop takes this dealer's orders unasked, and whether it takes any.

    A closed account takes no new order; the cars that are in work go on. None: as it is.
    """
    if accepts_by_itself is not None:
        account.accepts_by_itself = accepts_by_itself
    if active is not None:
        account.active = active
    account.save(update_fields=["accepts_by_itself", "active"])
    return account


def ready_version_raise(*, dealer_id: UUID) -> int:
    """Count a change to the dealer's ready cars and return the new count.

    The row stays locked until the caller's transaction ends, so counts are given out in the
    order the transactions commit: a cursor made of them never passes over a car.
    """
    Organisation.objects.filter(pk=dealer_id).update(ready_version=F("ready_version") + 1)
    return Organisation.objects.values_list("ready_version", flat=True).get(pk=dealer_id)
