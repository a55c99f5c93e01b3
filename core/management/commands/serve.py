"""Run the service: the web server, the workers and beat together, or one of them alone."""

import fcntl
import os
import sys
import time
from argparse import ArgumentParser, BooleanOptionalAction
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import structlog
from django.conf import settings
from django.core.management import call_command
from django.core.management.base import BaseCommand, CommandError
from django.db import OperationalError, connection, connections

from core.env import split_place
from core.field_keys import OtherKeys, prove_keys
from core.serving import address
from core.serving.numbers import serve_numbers
from core.serving.parts import CHOICES, NAMES, chosen_parts
from core.serving.supervisor import Supervisor

log = structlog.get_logger(__name__)

# Any number will do, as long as nothing else in the database uses it for an advisory lock.
MIGRATION_LOCK = 7_305_884_210
TURN_SECONDS = 0.2


class Command(BaseCommand):
    """`manage.py serve`."""

    help = (
        "Run the service: web server, workers and beat, each restarted where it dies. "
        "Ctrl-C stops it; a second Ctrl-C stops it at once."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--host", default="127.0.0.1", help="address to listen on")
        parser.add_argument(
            "--port", type=int, default=8000, help="port to listen on; 0 takes any that is free"
        )
        parser.add_argument(
            "--only",
            choices=CHOICES,
            help="run this part alone, for the form with servers; any number of web, notices and "
            "work (worker: both of these), exactly one beat",
        )
        parser.add_argument(
            "--migrate",
            action=BooleanOptionalAction,
            default=None,
            help="bring the database up to date first (default: where the web server is run)",
        )

    def handle(self, **options: Any) -> None:
        names = CHOICES[options["only"]] if options["only"] else NAMES
        host = options["host"]
        port = self.port_for(names, host, options["port"])
        self.refuse_taken_numbers()
        migrate = "web" in names if options["migrate"] is None else options["migrate"]
        if os.geteuid() == 0:
            log.warning("running_as_root", advice="run it as a user of its own")
        with only_beat(names), TemporaryDirectory(prefix="shutline-metrics-") as metrics_folder:
            if migrate:
                migrate_alone()
            refuse_other_keys(first=migrate)
            connections.close_all()
            if "web" not in names:
                serve_numbers(Path(metrics_folder))
            url = address.local_url(host, port)
            supervisor = Supervisor(
                chosen_parts(
                    names, host=host, port=port, address=url, metrics_folder=metrics_folder
                ),
                is_up=lambda: "web" not in names or address.answers(host, port),
                tell_ready=lambda: self.tell_ready(names, url),
                stop_seconds=settings.STOP_SECONDS,
            )
            code = supervisor.run()
        if code:
            sys.exit(code)

    def port_for(self, names: tuple[str, ...], host: str, port: int) -> int:
        """Return the port to listen on, once it is known to be free."""
        if "web" not in names:
            return port
        try:
            return address.usable_port(host, port)
        except address.AddressError as error:
            raise CommandError(str(error)) from error

    def refuse_taken_numbers(self) -> None:
        """Raise where nobody could listen at the address for the numbers."""
        if settings.METRICS_LISTEN:
            try:
                address.usable_port(*split_place(settings.METRICS_LISTEN))
            except address.AddressError as error:
                raise CommandError(
                    f"SHUTLINE_METRICS_LISTEN is {settings.METRICS_LISTEN}, where nobody can "
                    f"listen: {error}\nEach `serve` gives its numbers at an address of its own."
                ) from error

    def tell_ready(self, names: tuple[str, ...], url: str) -> None:
        """Print in one line that it runs, and where."""
        if "web" in names:
            line = f"Shutline is up at {url} (API {url}/api/docs, state {url}/readyz)"
        else:
            line = f"Shutline's {' and '.join(names)} {'is' if len(names) == 1 else 'are'} running"
        self.stdout.write(f"{line}. Ctrl-C stops it.")
        self.stdout.flush()


@contextmanager
def only_beat(names: tuple[str, ...]) -> Iterator[None]:
    """Hold the lock of the one beat of this data folder; the system frees it however we end."""
    if "beat" not in names:
        yield
        return
    path = Path(settings.DATA_DIR) / "beat.lock"
    path.parent.mkdir(parents=True, exist_ok=True)
    with path.open("w") as file:
        try:
            fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError as error:
            raise CommandError(
                f"The service already runs on {settings.DATA_DIR}. Stop that one first, or give "
                "this one a folder of its own with SHUTLINE_DATA_DIR; further web servers and "
                "workers start with --only web, --only notices and --only work."
            ) from error
        yield


def refuse_other_keys(*, first: bool) -> None:
    """Raise where this process has other field keys than the database was sealed with."""
    try:
        prove_keys(first=first)
    except OtherKeys as error:
        log.error("other_field_keys")  # noqa: TRY400  the sentence says all of it
        raise CommandError(str(error)) from error
    except OperationalError as error:  # not there yet: the parts wait for it, as ever
        log.warning("field_keys_not_looked_at", error=str(error))


def _our_turn() -> bool:
    """Return whether nobody else migrates. The lock is the connection's, freed when that closes.

    Asked for again and again: whoever waits for a lock within a statement is waited for in turn by
    an index that is made beside the work, and neither goes on.
    """
    if connection.vendor != "postgresql":
        return True
    with connection.cursor() as cursor:
        cursor.execute("SELECT pg_try_advisory_lock(%s)", [MIGRATION_LOCK])
        ((ours,),) = cursor.fetchall()
    return bool(ours)


def migrate_alone() -> None:
    """Bring the database up to date; on PostgreSQL one process at a time does so."""
    try:
        while not _our_turn():
            time.sleep(TURN_SECONDS)
        call_command("migrate", interactive=False, verbosity=0)
    except OperationalError as error:
        raise CommandError(
            f"The database does not answer: {error}".strip()
            + "\nCheck DATABASE_URL, and that the database runs."
        ) from error
    finally:
        connection.close()
