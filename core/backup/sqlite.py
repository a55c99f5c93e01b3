"""SQLite: copied by its online backup, which sees one moment whoever writes meanwhile."""

import os
import sqlite3
import tempfile
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path
from typing import Any

from django.db import connection

from core.backup.contents import Contents, contents_of
from core.backup.problems import BackupError
from core.stores import write_through

# What SQLite lays beside a database; one of these with another database would destroy that.
BESIDE = ("-wal", "-shm", "-journal")
BUSY_SECONDS = 60
TABLES = "SELECT name FROM sqlite_master WHERE type = 'table' AND substr(name, 1, 7) <> 'sqlite_'"


class Sqlite:
    """The embedded form's database: a file."""

    kind = "sqlite"
    dump = "database.sqlite3"

    @property
    def place(self) -> Path:
        """Return where the database that serves lies."""
        return Path(connection.settings_dict["NAME"]).absolute()

    def copy_to(self, path: Path) -> Contents:
        if not self.place.exists():
            raise BackupError(
                f"There is no database at {self.place}. Run this with the settings of the service: "
                "SHUTLINE_DATA_DIR or DATABASE_URL."
            )
        with (
            closing(_opened(self.place, "rw")) as served,
            closing(sqlite3.connect(path)) as copy,
        ):
            served.backup(copy)  # in one step: within steps another writer would begin it again
            copy.execute("PRAGMA journal_mode = DELETE")  # one file, with nothing beside it
        return self.contents(str(path))

    @contextmanager
    def loaded(self, dump: Path, *, to_stay: bool) -> Iterator[str]:
        beside = self.place.parent if to_stay else None
        with tempfile.TemporaryDirectory(prefix="shutline-restoring-", dir=beside) as folder:
            copy = Path(folder) / self.dump
            with closing(_opened(dump, "ro")) as kept, closing(sqlite3.connect(copy)) as fresh:
                _check(kept, dump)
                kept.backup(fresh)
            yield str(copy)

    def contents(self, name: str) -> Contents:
        with closing(_opened(Path(name), "ro")) as database:

            def rows(statement: str) -> list[tuple[Any, ...]]:
                return database.execute(statement).fetchall()

            return contents_of(rows, [table for (table,) in rows(TABLES)])

    def refuse_filled(self) -> None:
        place = self.place
        left = [path for end in ("", *BESIDE) if (path := Path(f"{place}{end}")).exists()]
        if left:
            raise BackupError(
                f"There is something already: {', '.join(str(path) for path in left)}. A backup is "
                "restored into an empty place only: stop the service and move these away, or "
                "give another SHUTLINE_DATA_DIR or DATABASE_URL."
            )
        if not place.parent.is_dir():
            raise BackupError(f"There is no folder {place.parent}. Make it first.")

    def put_in_place(self, name: str) -> None:
        copy = Path(name)
        left = [end for end in BESIDE if Path(f"{copy}{end}").exists()]
        if left:
            raise BackupError("The restored copy is still open somewhere. Try it again.")
        write_through(copy)
        self.refuse_filled()
        try:
            os.link(copy, self.place)  # appears whole, and never over another
        except FileExistsError as error:
            raise BackupError(
                f"Somebody has made {self.place} meanwhile. Stop the service, then move it away."
            ) from error
        write_through(self.place.parent)


def _opened(path: Path, mode: str) -> sqlite3.Connection:
    return sqlite3.connect(
        f"{path.absolute().as_uri()}?mode={mode}", uri=True, timeout=BUSY_SECONDS
    )


def _check(database: sqlite3.Connection, path: Path) -> None:
    """Raise BackupError where pages are damaged or rows point at rows that are not there."""
    found = [str(row[0]) for row in database.execute("PRAGMA integrity_check(5)")]
    if found != ["ok"]:
        raise BackupError(f"{path} is damaged: {'; '.join(found)}. Use an earlier backup.")
    astray = database.execute("PRAGMA foreign_key_check").fetchmany(5)
    if astray:
        named = ", ".join(f"{table} to {other}" for table, _, other, _ in astray)
        raise BackupError(f"Rows of {path} point at rows that are not there: {named}.")
