"""PostgreSQL: copied by its own pg_dump in a snapshot that we export, loaded by pg_restore."""

import os
import re
import secrets
import shutil
import subprocess
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Any, Never

from django.db import DatabaseError, connection, transaction

from core.backup.contents import Contents, contents_of
from core.backup.problems import BackupError
from core.backup.standing import standing_on

# Databases that every server has: from one others are made, and none that is connected is renamed.
MAINTENANCE = ("postgres", "template1")
TABLES = "SELECT tablename FROM pg_tables WHERE schemaname = current_schema()"
LONGEST_ERROR = 600


class Postgres:
    """A database of a PostgreSQL server, reached by the parts of DATABASE_URL."""

    kind = "postgresql"
    dump = "database.pgdump"

    @property
    def name(self) -> str:
        """Return the name of the database that serves."""
        return str(connection.settings_dict["NAME"])

    def _beside(self, what: str) -> str:
        """Return a name that nothing has, which says what it is beside; 63 bytes at most."""
        return f"{self.name[:40]}_{what}_{secrets.token_hex(3)}"

    def copy_to(self, path: Path) -> Contents:
        program = _program("pg_dump")
        with transaction.atomic(), connection.cursor() as cursor:
            # What is counted here and what pg_dump writes is one and the same moment.
            cursor.execute("SET TRANSACTION ISOLATION LEVEL REPEATABLE READ, READ ONLY")
            cursor.execute("SET LOCAL idle_in_transaction_session_timeout = 0")
            cursor.execute("SELECT pg_export_snapshot()")
            ((snapshot,),) = cursor.fetchall()
            contents = _contents()
            _run(
                program, self.name, "--format=custom", "--no-owner", "--no-privileges",
                f"--snapshot={snapshot}", f"--file={path}",
            )  # fmt: skip
        return contents

    @contextmanager
    def loaded(self, dump: Path, *, to_stay: bool) -> Iterator[str]:
        program = _program("pg_restore")
        name = self._beside("restoring")
        # One that is to stay gets what the empty one in its place was made with (its collation).
        like = self.name if to_stay and _exists(self.name) else "template0"
        _do(f"CREATE DATABASE {_quoted(name)} TEMPLATE {_quoted(like)}", like)
        try:
            _run(
                program, name, "--exit-on-error", "--no-owner", "--no-privileges", str(dump),
                before="--dbname",
            )  # fmt: skip
            yield name
        finally:
            # Gone already, where it was put into its place.
            _do(f"DROP DATABASE IF EXISTS {_quoted(name)} WITH (FORCE)", name)

    def contents(self, name: str) -> Contents:
        with standing_on(name):
            return _contents()

    def refuse_filled(self) -> None:
        if not _exists(self.name):
            return
        self._refuse_tables(self.name)

    def _refuse_tables(self, name: str) -> None:
        with standing_on(name):
            count = len(connection.introspection.table_names())
        if count:
            raise BackupError(
                f"The database {self.name} has {count} tables already. A backup is restored into "
                "an empty one only: stop the service, and rename that database or name another "
                "in DATABASE_URL."
            )

    def put_in_place(self, name: str) -> None:
        aside = self._beside("aside")
        had_one = _exists(self.name)
        if had_one:
            _do(f"ALTER DATABASE {_quoted(self.name)} RENAME TO {_quoted(aside)}", self.name)
        try:
            if had_one:
                self._refuse_tables(aside)
            _do(f"ALTER DATABASE {_quoted(name)} RENAME TO {_quoted(self.name)}", name)
        except BackupError:
            if had_one:
                _do(f"ALTER DATABASE {_quoted(aside)} RENAME TO {_quoted(self.name)}", aside)
            raise
        if had_one:
            _do(f"DROP DATABASE {_quoted(aside)}", aside)


def _contents() -> Contents:
    with connection.cursor() as cursor:

        def rows(statement: str) -> list[tuple[Any, ...]]:
            cursor.execute(statement)
            return list(cursor.fetchall())

        return contents_of(rows, [table for (table,) in rows(TABLES)])


def _maintenance() -> str:
    """Return a database to stand on while others are made and renamed."""
    return next(name for name in MAINTENANCE if name != connection.settings_dict["NAME"])


def _exists(name: str) -> bool:
    with standing_on(_maintenance()), connection.cursor() as cursor:
        cursor.execute("SELECT 1 FROM pg_database WHERE datname = %s", [name])
        return cursor.fetchone() is not None


def _quoted(name: str) -> str:
    return connection.ops.quote_name(name)


def _do(statement: str, about: str) -> None:
    """Run a statement that makes, renames or drops a database. Raises BackupError."""
    try:
        with standing_on(_maintenance()), connection.cursor() as cursor:
            cursor.execute(statement)
    except DatabaseError as error:
        _refuse(error, about)


def _refuse(error: DatabaseError, about: str) -> Never:
    code = getattr(error.__cause__, "sqlstate", "") or ""
    if code == "42501":
        raise BackupError(
            "The role in DATABASE_URL may not make or rename databases, which restoring takes. "
            "Let it: ALTER ROLE … CREATEDB, and make it the owner of the empty database."
        ) from error
    if code == "55006":
        raise BackupError(
            f"Somebody is connected to the database {about}. Stop the service and whatever else "
            "uses it, then try it again."
        ) from error
    raise BackupError(f"PostgreSQL refused: {str(error).strip()}") from error


def _program(name: str) -> str:
    """Return the path of a client program. Raises BackupError for none, or one too old."""
    with standing_on(_maintenance()):  # the database that serves may not be there
        server = int(connection.get_database_version()[0])
    wanted = f"Install PostgreSQL's client programs, version {server} or later"
    found = shutil.which(name)
    if found is None:
        raise BackupError(f"{name} is not installed. {wanted} (on Debian: postgresql-client).")
    told = subprocess.run([found, "--version"], capture_output=True, text=True, check=False).stdout  # noqa: S603  found by its name
    version = re.search(r"\) (\d+)", told)
    if version is None or int(version[1]) < server:
        older = f"{name} is of version {version[1]}" if version else f"{name} tells no version"
        raise BackupError(f"{older}, and the server of version {server}. {wanted}.")
    return found


def _run(program: str, name: str, *arguments: str, before: str = "") -> None:
    """Run a client program on a database, its password only in the environment."""
    about = {**connection.settings_dict, "NAME": name}
    command, secret = connection.client.settings_to_cmd_args_env(about, [])
    flags: Sequence[str] = command[1:-1]
    words = [program, *flags, "--no-password", *([before] if before else []), name, *arguments]
    done = subprocess.run(  # noqa: S603  PostgreSQL's own, found by its name
        words, env={**os.environ, **(secret or {})}, capture_output=True, text=True, check=False
    )
    if done.returncode:
        said = done.stderr.strip()[-LONGEST_ERROR:]
        raise BackupError(f"{Path(program).name} failed: {said}")
