"""The one way past the database's refusal to delete what happened to a job."""

from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from contextvars import ContextVar
from typing import Any

from django.db import connection, transaction

from jobs.work.models import HistoryEntry

# The trigger on SQLite asks for this function; a connection that does not have it deletes nothing.
ASKED_BY_TRIGGER = "jobs_history_may_go"
REPLACED_AT_ONCE = 500
_may_go: ContextVar[bool] = ContextVar("history_may_go", default=False)


@contextmanager
def history_may_go() -> Iterator[None]:
    """Open a transaction in which history can be deleted: for retention, and for nothing else."""
    with transaction.atomic():
        token = _may_go.set(True)
        _tell_postgresql("on")
        try:
            yield
        finally:
            _may_go.reset(token)
        _tell_postgresql("off")  # where it failed instead, the transaction takes it along


def history_replace(entries: Sequence[HistoryEntry]) -> None:
    """Put entries in the place of those with their ids: names and words out, figures kept.

    The database lets nobody change one, so they are taken out and put in again. What points at an
    entry keeps pointing at it: both databases look at that when the transaction ends.
    """
    with history_may_go(), connection.cursor() as cursor:
        for first in range(0, len(entries), REPLACED_AT_ONCE):
            some = entries[first : first + REPLACED_AT_ONCE]
            ids = [entry.pk.hex for entry in some]  # both databases read it
            places = ", ".join(["%s"] * len(ids))
            cursor.execute(f"DELETE FROM jobs_historyentry WHERE id IN ({places})", ids)  # noqa: S608  places alone
            HistoryEntry.objects.bulk_create(some)


def answer_trigger(sender: object, connection: Any, **_: Any) -> None:
    """Give a new connection to SQLite the function that the trigger asks."""
    del sender
    if connection.vendor == "sqlite":
        connection.connection.create_function(ASKED_BY_TRIGGER, 0, lambda: int(_may_go.get()))


def _tell_postgresql(state: str) -> None:
    if connection.vendor == "postgresql":
        with connection.cursor() as cursor:
            cursor.execute("SELECT set_config('jobs.history_may_go', %s, true)", [state])
