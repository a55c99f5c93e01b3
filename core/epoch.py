"""Which life of the database this is, in every cursor and ETag that is made from a counter.

A database that is restored to an earlier point counts on from there, so that its numbers come
twice. Each restore draws a random epoch. A cursor holds it above its position: one given before
the restore is refused with what to do, instead of answered with silence. Until the first restore
the epoch is 0 and a cursor is the position itself, as cursors were before there was an epoch.
"""

import secrets
from collections.abc import Callable
from datetime import datetime

from django.db import transaction

from core.clock import now
from core.models import Epoch
from core.problems import Restored

# Epoch and position fit into 53 bits together, which JSON readers that use doubles keep exactly
# (RFC 8259, section 6). 36 bits of position are 68 thousand million events.
POSITION_BITS = 36
EPOCH_BITS = 17
MAX_CURSOR = 2 ** (POSITION_BITS + EPOCH_BITS) - 1
_POSITION = 2**POSITION_BITS - 1


GO_ON = (
    "Go on from the cursor in this answer, or read again from the start, without `after`. A "
    "notice that you had before keeps its id. Then send again what you sent since the backup, with "
    "the same Idempotency-Key."
)

_begun: list[Callable[[], None]] = []


def register_epoch_begun(note: Callable[[], None]) -> None:
    """Call `note` in the transaction in which a new epoch begins, before anything is counted on."""
    if note not in _begun:
        _begun.append(note)


def epoch_number() -> int:
    """Return the number of the epoch, 0 before the first restore: one query."""
    return Epoch.objects.values_list("number", flat=True).first() or 0


@transaction.atomic
def epoch_begin(*, backup_made_at: datetime) -> Epoch:
    """Draw a new epoch for a database that was just restored, and return it."""
    before = epoch_number()
    number = before
    while number == before:
        number = 1 + secrets.randbelow(2**EPOCH_BITS - 1)
    facts = {
        "number": number,
        "before": before,
        "backup_made_at": backup_made_at,
        "restored_at": now(),
    }
    epoch, _ = Epoch.objects.update_or_create(id=1, defaults=facts)
    for note in _begun:
        note()
    return epoch


def cursor_at(position: int, *, epoch: int) -> int:
    """Return the cursor for a position in this epoch."""
    return (epoch << POSITION_BITS) | position


def cursor_parts(cursor: int) -> tuple[int, int]:
    """Return the epoch that a cursor was given in, and its position."""
    return cursor >> POSITION_BITS, cursor & _POSITION


def position_in(cursor: int, *, epoch: int) -> int:
    """Return the position that a cursor of this epoch stands for; 0 is the start in every epoch.

    Raises Restored for a cursor of another epoch.
    """
    given_in, position = cursor_parts(cursor)
    if cursor and given_in != epoch:
        raise restored()
    return position


def refuse_ahead(position: int, *, end: int) -> None:
    """Raise Restored for a position behind the last one given.

    A database that was brought back by other means than `manage.py restore` has the epoch that it
    had, and only this tells.
    """
    if position > end:
        raise Restored(
            "The cursor is ahead of all that there is: the service was put back to an earlier "
            "point. What happened after that point is not known here any more."
        )


def restored(*, cursor: int | None = None) -> Restored:
    """Return the problem for a cursor of another epoch; `cursor`: from where to go on."""
    epoch = Epoch.objects.first()
    if epoch is None:
        return Restored("The cursor is from another database than the one that answers now.")
    further = {} if cursor is None else {"cursor": cursor}
    return Restored(
        f"The cursor is from before {epoch.restored_at:%Y-%m-%d %H:%M} UTC, when the service was "
        f"restored from a backup of {epoch.backup_made_at:%Y-%m-%d %H:%M} UTC. What happened in "
        "between is not known here any more.",
        next_step="" if cursor is None else GO_ON,
        extra={
            "restored_at": epoch.restored_at,
            "backup_made_at": epoch.backup_made_at,
            **further,
        },
    )
