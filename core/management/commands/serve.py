"""Run the service: the web server, the workers and beat together, or one of them alone."""

import os
from argparse import ArgumentParser
from tempfile import mkdtemp
from typing import Any, TextIO

import structlog
from django.conf import settings
from django.core.management import call_command
from django.core.management.base import BaseCommand, CommandError
from django.db import OperationalError, connection, connections

from core.env import split_place
from core.field_keys import OtherKeys, prove_keys
from core.schema import OldSchema, refuse_old_schema
from core.serving import address
from core.serving.beat_lock import BeatRuns, beat_lock
from core.serving.parts import CHOICES, NAMES, chosen_programs, python
from core.serving.supervise import Plan, become_supervisor

log = structlog.get_logger(__name__)


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

    def handle(self, **options: Any) -> None:
        names = CHOICES[options["only"]] if options["only"] else NAMES
        host = options["host"]
        port = self.port_for(names, host, options["port"])
        self.refuse_taken_numbers()
        if os.geteuid() == 0:
            log.warning("running_as_root", advice="run it as a user of its own")
        lock = only_beat() if "beat" in names else None
        prepare_database(first="web" in names)
        connections.close_all()
        become_supervisor(
            self.plan_for(names, host, port),
            python=python(),
            held=[lock.fileno()] if lock else [],
        )

    def plan_for(self, names: tuple[str, ...], host: str, port: int) -> Plan:
        """Return what the supervisor is to run."""
        url = address.local_url(host, port)
        metrics_folder = mkdtemp(prefix="shutline-metrics-")
        return Plan(
            parts=chosen_programs(
                names, host=host, port=port, address=url, metrics_folder=metrics_folder
            ),
            asked_at=(address.local_host(host), port) if "web" in names else None,
            host_header=address.allowed_name(),
            ready_line=self.ready_line(names, url),
            stop_seconds=settings.STOP_SECONDS,
            metrics_folder=metrics_folder,
        )

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

    def ready_line(self, names: tuple[str, ...], url: str) -> str:
        """Return in one line that it runs, and where."""
        if "web" in names:
            line = f"Shutline is up at {url} (API {url}/api/docs, state {url}/readyz)"
        else:
            line = f"Shutline's {' and '.join(names)} {'is' if len(names) == 1 else 'are'} running"
        return f"{line}. Ctrl-C stops it."


def only_beat() -> TextIO:
    """Take the lock of the one beat of this data folder."""
    try:
        return beat_lock()
    except BeatRuns as error:
        raise CommandError(
            f"The service already runs on {settings.DATA_DIR}. Stop that one first, or give "
            "this one a folder of its own with SHUTLINE_DATA_DIR; further web servers and "
            "workers start with --only web, --only notices and --only work."
        ) from error


def prepare_database(*, first: bool) -> None:
    """Raise where the database is older than this program, or sealed with other keys.

    The first of the embedded form migrates it; with servers that is a command of its own.
    """
    try:
        if first and connection.vendor == "sqlite":
            call_command("migrate", interactive=False, verbosity=0)
        refuse_old_schema()
        prove_keys(first=first)
    except (OldSchema, OtherKeys) as error:
        log.error("not_started", why=type(error).__name__)  # noqa: TRY400  the sentence says all
        raise CommandError(str(error)) from error
    except OperationalError as error:
        raise CommandError(
            f"The database does not answer: {error}".strip()
            + "\nCheck DATABASE_URL, and that the database runs."
        ) from error
