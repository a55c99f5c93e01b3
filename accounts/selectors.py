"""Reads of accounts for others."""

from uuid import UUID

from django.db.models import Q, QuerySet

from accounts.models import Organisation, Person, TradeAccount
from core.problems import NotFound


def organisation_find(*, wanted: str) -> Organisation:
    """Return the organisation with this id or exact name. Raises NotFound."""
    match = Q(name=wanted)
    try:
        match |= Q(pk=UUID(wanted))
    except ValueError:
        pass
    found = list(Organisation.objects.filter(match)[:2])
    if len(found) != 1:
        several = "Several organisations are" if found else "No organisation is"
        raise NotFound(
            f"{several} called {wanted!r}.", next_step="Give the exact name or the id."
        )
    return found[0]


def trade_accounts_of(*, dealer_id: UUID) -> QuerySet[TradeAccount]:
    """Return the dealer's open trade accounts with their workshops."""
    return TradeAccount.objects.filter(dealer_id=dealer_id, active=True).select_related(
        "workshop", "dealer"
    )


def person_of(*, organisation_id: UUID, person_id: UUID) -> Person | None:
    """Return the active person of an organisation with this id, or None."""
    return Person.objects.filter(
        pk=person_id, organisation_id=organisation_id, is_active=True
    ).first()
