"""Which migrations the database lacks, and how they are run while the service goes on working."""

import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import Any

from django.db import OperationalError, connection
from django.db.backends.base.base import BaseDatabaseWrapper
from django.db.migrations.loader import MigrationLoader

# Any number will do, as long as nothing else in the database uses it for an advisory lock.
MIGRATION_LOCK = 7_305_884_210
TURN_SECONDS = 0.2
# Who waits for a table keeps everybody waiting who comes later: for so long at most, and so long
# is left between two tries. Less than PostgreSQL's deadlock_timeout, so that the migration gives
# way before a request does.
LOCK_MILLISECONDS = 400
PAUSE_SECONDS = 1.0
LOCK_NOT_AVAILABLE = "55P03"  # PostgreSQL's lock_not_available, its manual's appendix A


class OldSchema(Exception):  # noqa: N818  it says what happened
    """The database lacks migrations of this release."""

    def __init__(self, missing: list[str]) -> None:
        more = f" and {len(missing) - 1} more" if len(missing) > 1 else ""
        super().__init__(
            f"The database is older than this program: it lacks {missing[0]}{more}. "
            "Run `manage.py migrate` with the program's own release, then start it again."
        )


def missing_migrations() -> list[str]:
    """Return the migrations of this release that the database lacks.

    What it has beyond them is no matter: a later release is on its way.
    """
    loader = MigrationLoader(connection)
    return sorted(".".join(node) for node in loader.graph.nodes - loader.applied_migrations.keys())


def refuse_old_schema() -> None:
    """Raise OldSchema where the database lacks a migration of this release."""
    if missing := missing_migrations():
        raise OldSchema(missing)


def lock_was_taken(error: Exception) -> bool:
    """Return whether PostgreSQL gave up waiting for a lock, as it was told to."""
    return getattr(error.__cause__, "sqlstate", None) == LOCK_NOT_AVAILABLE


@contextmanager
def alone(database: BaseDatabaseWrapper) -> Iterator[None]:
    """Wait until nobody else migrates this PostgreSQL, and keep others waiting.

    Asked for again and again: whoever waits for a lock within a statement is waited for in turn by
    an index that is made beside the work, and neither goes on.
    """
    while not _holds(database, "pg_try_advisory_lock"):
        time.sleep(TURN_SECONDS)
    try:
        yield
    finally:
        _holds(database, "pg_advisory_unlock")


def _holds(database: BaseDatabaseWrapper, function: str) -> bool:
    with database.cursor() as cursor:
        cursor.execute(f"SELECT {function}(%s)", [MIGRATION_LOCK])
        ((answer,),) = cursor.fetchall()
    return bool(answer)


@contextmanager
def giving_way(database: BaseDatabaseWrapper) -> Iterator[None]:
    """Let no statement wait long for a lock, and repeat those that stand outside a transaction.

    One within a transaction fails: whoever began that begins it again.
    """
    with database.cursor() as cursor:
        cursor.execute("SELECT current_setting('lock_timeout')")
        ((before,),) = cursor.fetchall()
        cursor.execute("SELECT set_config('lock_timeout', %s, false)", [str(LOCK_MILLISECONDS)])
    try:
        with database.execute_wrapper(_repeating):
            yield
    finally:
        with database.cursor() as cursor:
            cursor.execute("SELECT set_config('lock_timeout', %s, false)", [before])


def _repeating(
    execute: Callable[..., Any],
    sql: str,
    params: Any,
    many: bool,  # noqa: FBT001  Django's signature
    context: dict[str, Any],
) -> Any:
    """Run a statement until it gets its locks."""
    database = context["connection"]
    if database.in_atomic_block:
        return execute(sql, params, many, context)
    while True:
        try:
            with _unhurried(database, sql):
                return execute(sql, params, many, context)
        except OperationalError as error:
            if not lock_was_taken(error):
                raise
            time.sleep(PAUSE_SECONDS)


@contextmanager
def _unhurried(database: BaseDatabaseWrapper, sql: str) -> Iterator[None]:
    """Let what is made beside the work wait as long as it must: nobody waits for it."""
    if "CONCURRENTLY" not in sql:
        yield
        return
    raw = database.connection
    raw.execute("SET lock_timeout = 0")
    try:
        yield
    finally:
        raw.execute(f"SET lock_timeout = {LOCK_MILLISECONDS}")
