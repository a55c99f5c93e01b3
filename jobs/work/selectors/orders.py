"""The lists of work orders that a dealer brought in a file."""

from uuid import UUID

from django.db.models import QuerySet

from accounts.caller import Caller
from core.problems import NotFound
from jobs.work.models import OrderImport


def import_of(caller: Caller, import_id: UUID) -> OrderImport:
    """Return one of the dealer's lists of cars. Raises NotFound."""
    found = imports_of(caller).filter(pk=import_id).first()
    if found is None:
        raise no_such_import()
    return found


def imports_of(caller: Caller) -> QuerySet[OrderImport]:
    """Return the dealer's lists of cars, newest first."""
    return OrderImport.objects.filter(dealer_id=caller.organisation_id).order_by("-pk")


def import_for_change(caller: Caller, import_id: UUID) -> OrderImport:
    """Return one of the dealer's lists with its row locked for this transaction."""
    found = imports_of(caller).select_for_update(of=("self",)).filter(pk=import_id).first()
    if found is None:
        raise no_such_import()
    return found


def imports_waiting(*, limit: int) -> list[OrderImport]:
    """Return lists with lines to take in, the oldest first, of people who are still there.

    A list of somebody who left waits for a colleague, who goes on with it on its page.
    """
    waiting = OrderImport.objects.filter(finished_at=None, person__is_active=True)
    return list(
        waiting.order_by("pk")
        .defer("lines", "answers")
        .select_related("person__organisation")[:limit]
    )


def no_such_import() -> NotFound:
    """Return the problem for a list that is missing or somebody else's: the same for both."""
    return NotFound("There is no such list of cars, or it is not yours.")
