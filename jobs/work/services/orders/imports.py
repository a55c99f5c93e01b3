"""A dealer's list of cars: kept as it was read, then taken in some lines at a time."""

from collections.abc import Mapping, Sequence
from typing import Any
from uuid import UUID

from django.db import transaction

from accounts.caller import Caller
from core.clock import now
from core.problems import NotAllowed
from jobs.work.models import OrderImport
from jobs.work.selectors.orders import import_for_change
from jobs.work.services.jobs.wake import wake_orders

# In one transaction: on SQLite nobody else writes meanwhile, and a machine may be very slow.
LINES_AT_ONCE = 10
LONGEST_NAME = 120


def import_begin(
    *, caller: Caller, file_name: str, lines: Sequence[Mapping[str, Any]]
) -> OrderImport:
    """Keep the lines of a file, none of them taken in yet. Raises NotAllowed for a system.

    A worker takes them in, and so does the page while it is open.
    """
    if caller.person_id is None:
        raise NotAllowed("A list is sent by a person; a system posts a batch.")
    kept = OrderImport.objects.create(
        dealer_id=caller.organisation_id,
        person_id=caller.person_id,
        file_name=file_name[-LONGEST_NAME:],
        lines=list(lines),
        started_at=now(),
    )
    transaction.on_commit(wake_orders)
    return kept


def import_next(
    *, caller: Caller, import_id: UUID
) -> tuple[OrderImport, Sequence[Mapping[str, Any]]]:
    """Return a list, its row locked for this transaction, and its next lines. Raises NotFound.

    The lock makes two pages open on one list, or a page and a worker, take in different lines.
    """
    kept = import_for_change(caller, import_id)
    done = len(kept.answers)
    return kept, kept.lines[done : done + LINES_AT_ONCE]


def import_keep(*, kept: OrderImport, answers: Sequence[Mapping[str, Any]]) -> OrderImport:
    """Keep the answers to the next lines of a list, in the transaction that took them in."""
    kept.answers = [*kept.answers, *answers]
    if kept.finished_at is None and len(kept.answers) == len(kept.lines):
        kept.finished_at = now()
    kept.save(update_fields=["answers", "finished_at"])
    return kept
