"""What a database holds, read the same way from the one that serves and from a restored copy."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from core.backup.problems import BackupError

# Runs a statement of ours and returns its rows.
Rows = Callable[[str], Sequence[tuple[Any, ...]]]


@dataclass(frozen=True, slots=True)
class StoredFiles:
    """A table whose rows name files: which of Django's stores has them, and the columns."""

    store: str
    table: str
    name: str = "name"
    sha256: str = "sha256"


@dataclass(frozen=True, slots=True, order=True)
class NamedFile:
    """A file that a row names, with the digest that stands beside it."""

    store: str
    name: str
    sha256: str

    @property
    def path(self) -> str:
        """Return where it lies in a backup."""
        return f"{self.store}/{self.name}"


@dataclass(frozen=True, slots=True)
class Contents:
    """Rows by table, the migrations applied, and the files that rows name."""

    counts: Mapping[str, int]
    migrations: Sequence[str]
    files: Sequence[NamedFile]


_named: list[StoredFiles] = []


def register_stored_files(files: StoredFiles) -> None:
    """Have the files that a table names go with the database into every backup."""
    if files not in _named:
        _named.append(files)


def contents_of(rows: Rows, tables: Sequence[str]) -> Contents:
    """Return what a database with these tables holds. Raises BackupError for an empty one."""
    if "django_migrations" not in tables:
        raise BackupError(
            "There is nothing in this database. Run this with the settings of the service: "
            "SHUTLINE_DATA_DIR or DATABASE_URL."
        )
    migrations = "SELECT app, name FROM django_migrations"
    return Contents(
        counts={table: rows(f'SELECT COUNT(*) FROM "{table}"')[0][0] for table in sorted(tables)},  # noqa: S608  tables of ours
        migrations=sorted(f"{app}.{name}" for app, name in rows(migrations)),
        files=sorted(
            NamedFile(named.store, *row)
            for named in _named
            if named.table in tables
            for row in rows(f"SELECT {named.name}, {named.sha256} FROM {named.table}")  # noqa: S608  names of ours
        ),
    )
