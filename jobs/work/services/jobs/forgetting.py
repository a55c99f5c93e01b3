"""The one way past the database's refusal to delete what happened to a job."""

from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from typing import Any

from django.db import connection, transaction

# The trigger on SQLite asks for this function; a connection that does not have it deletes nothing.
ASKED_BY_TRIGGER = "jobs_history_may_go"
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


def answer_trigger(sender: object, connection: Any, **_: Any) -> None:
    """Give a new connection to SQLite the function that the trigger asks."""
    del sender
    if connection.vendor == "sqlite":
        connection.connection.create_function(ASKED_BY_TRIGGER, 0, lambda: int(_may_go.get()))


def _tell_postgresql(state: str) -> None:
    if connection.vendor == "postgresql":
        with connection.cursor() as cursor:
            cursor.execute("SELECT set_config('jobs.history_may_go', %s, true)", [state])
