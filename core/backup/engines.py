"""The two databases there are: how one is copied, loaded and put into its place."""

from contextlib import AbstractContextManager
from pathlib import Path
from typing import Protocol

from django.db import connection

from core.backup.contents import Contents
from core.backup.postgres import Postgres
from core.backup.sqlite import Sqlite


class Engine(Protocol):
    """What differs between SQLite and PostgreSQL."""

    kind: str
    dump: str  # the name of the part of a backup with the database

    def copy_to(self, path: Path) -> Contents:
        """Write a copy as of one moment, while others write, and return what it holds."""

    def loaded(self, dump: Path, *, to_stay: bool) -> AbstractContextManager[str]:
        """Load a copy into a database of its own, and lend its name; it is dropped at the end.

        Raises BackupError where it cannot be loaded, or is not sound. One that is `to_stay` can
        then be put into the place of the one that serves.
        """

    def contents(self, name: str) -> Contents:
        """Return what a loaded copy holds."""

    def refuse_filled(self) -> None:
        """Raise BackupError where the database that serves is there and not empty."""

    def put_in_place(self, name: str) -> None:
        """Make a loaded copy the database that serves, at once and whole."""


def engine() -> Engine:
    """Return the one that the settings name."""
    return Postgres() if connection.vendor == "postgresql" else Sqlite()
