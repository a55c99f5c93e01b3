"""A dealer's list of cars: kept as it was read, then taken in some lines at a time.

What one step takes in and its answers are one transaction, so a line is taken in once, however
often the step is sent and wherever it is cut off.
"""

from collections.abc import Callable, Mapping, Sequence
from typing import Any
from uuid import UUID

from django.db import transaction

from accounts.caller import Caller
from core.clock import now
from core.problems import NotAllowed
from jobs.work.models import OrderImport
from jobs.work.selectors.orders import import_for_change

LINES_AT_ONCE = 25
LONGEST_NAME = 120

# Takes one line in: the caller, the line's number from 1, and the line; returns the answer to it.
TakeLine = Callable[[Caller, int, Mapping[str, Any]], dict[str, Any]]


def import_begin(
    *, caller: Caller, file_name: str, lines: Sequence[Mapping[str, Any]]
) -> OrderImport:
    """Keep the lines of a file, none of them taken in yet. Raises NotAllowed for a system."""
    if caller.person_id is None:
        raise NotAllowed("A list is sent by a person; a system posts a batch.")
    return OrderImport.objects.create(
        dealer_id=caller.organisation_id,
        person_id=caller.person_id,
        file_name=file_name[-LONGEST_NAME:],
        lines=list(lines),
        started_at=now(),
    )


@transaction.atomic
def import_go_on(*, caller: Caller, import_id: UUID, take: TakeLine) -> OrderImport:
    """Take the next lines in, and keep the answer to each; nothing is left to do when finished.

    The row is locked, so that two pages open on one list take in different lines. Raises NotFound.
    """
    kept = import_for_change(caller, import_id)
    done = len(kept.answers)
    answers = [
        take(caller, number, line)
        for number, line in enumerate(kept.lines[done : done + LINES_AT_ONCE], start=done + 1)
    ]
    if answers:
        kept.answers = [*kept.answers, *answers]
    if kept.finished_at is None and len(kept.answers) == len(kept.lines):
        kept.finished_at = now()
    kept.save(update_fields=["answers", "finished_at"])
    return kept
