"""Play a working day against the service, over real HTTP, and say whether everything arrived."""

import logging
import sys
from argparse import ArgumentParser, BooleanOptionalAction
from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError

from core.serving import address

LOCAL = "127.0.0.1"
STOPPED = 130  # the shell's exit code for a program ended by Ctrl-C


class Command(BaseCommand):
    """`manage.py demo`."""

    help = (
        "Play a day in an invented workshop with two invented dealers: the service is started in a "
        "folder of its own, nothing of yours is touched. Exits with 1 where a notice is missing."
    )
    requires_system_checks = []  # it uses neither the database nor the settings of this process

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument(
            "--stay",
            action=BooleanOptionalAction,
            default=None,
            help="leave the service up afterwards, until Ctrl-C (default: at a terminal)",
        )
        parser.add_argument(
            "--port", type=int, default=0, help="port of the service; 0 takes any that is free"
        )

    def handle(self, **options: Any) -> None:
        try:
            from jobs.demo.client import DemoError  # noqa: PLC0415  a package may be missing
            from jobs.demo.run import run  # noqa: PLC0415  the same
        except ModuleNotFoundError as error:
            raise CommandError(
                f"The demo needs the package {error.name}: pip install -e '.[demo]' brings it."
            ) from error
        # aiosmtpd tells every command of the SMTP dialogue.
        logging.getLogger("mail.log").setLevel(logging.WARNING)
        staying = sys.stdout.isatty() if options["stay"] is None else options["stay"]
        try:
            code = run(
                root=settings.BASE_DIR,
                data=Path(settings.DATA_DIR),
                port=address.usable_port(LOCAL, options["port"]),
                staying=staying,
            )
        except (DemoError, address.AddressError) as error:
            raise CommandError(str(error)) from error
        except KeyboardInterrupt:
            raise CommandError("Stopped before the end of the day.", returncode=STOPPED) from None
        sys.exit(code)
