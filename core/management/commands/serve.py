"""Run the service: the web server, the workers and beat together, or one of them alone."""

import os
import sys
from argparse import ArgumentParser
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from tempfile import TemporaryDirectory
from typing import Any

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
from core.serving.parts import CHOICES, NAMES, chosen_parts
from core.serving.supervisor import Supervisor

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
        self.refuse_taken_numbers(names)
        if os.geteuid() == 0:
            log.warning("running_as_root", advice="run it as a user of its own")
        with only_beat(names), TemporaryDirectory(prefix="shutline-metrics-") as metrics_folder:
            prepare_database(first="web" in names)
            connections.close_all()
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

    def refuse_taken_numbers(self, names: tuple[str, ...]) -> None:
        """Raise where nobody could listen at the address for the numbers."""
        if "web" in names and settings.METRICS_LISTEN:
            self.port_for(names, *split_place(settings.METRICS_LISTEN))

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
    """Hold the lock of the one beat of this data folder, where beat is among the parts."""
    with ExitStack() as stack:
        try:
            if "beat" in names:
                stack.enter_context(beat_lock())
        except BeatRuns as error:
            raise CommandError(
                f"The service already runs on {settings.DATA_DIR}. Stop that one first, or give "
                "this one a folder of its own with SHUTLINE_DATA_DIR; further web servers and "
                "workers start with --only web, --only notices and --only work."
            ) from error
        yield


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
