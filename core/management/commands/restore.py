"""Restores a backup into an empty place."""

from argparse import ArgumentParser, ArgumentTypeError
from datetime import datetime
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand
from django.utils.dateparse import parse_datetime

from core.backup.restore import backup_restore, begin_again
from core.management.plainly import plainly
from core.serving.beat_lock import beat_lock

AFTERWARDS = (
    "Everybody signs in again. What was revoked, switched off or answered since then is not: look "
    "through it before you start the service. Dealers' systems that read the feed or /ready by a "
    "cursor get 409 `restored` once, with what to do."
)


def instant(text: str) -> datetime:
    """Return the time that was typed. Raises ArgumentTypeError for one without its zone."""
    try:
        found = parse_datetime(text)
    except ValueError:
        found = None
    if found is None or found.tzinfo is None:
        raise ArgumentTypeError(f"{text!r} is no time; write it as in 2026-11-28T22:05Z")
    return found


class Command(BaseCommand):
    """`manage.py restore`."""

    help = (
        "Restore a backup into an empty place, with the keys of then. It appears there at once "
        "and whole; where anything is wrong, nothing appears."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        what = parser.add_mutually_exclusive_group(required=True)
        what.add_argument("place", type=Path, nargs="?", help="the folder of the backup")
        what.add_argument(
            "--brought-back-to",
            type=instant,
            metavar="TIME",
            help="restore nothing: the database was brought back to this time by other means (a "
            "snapshot, a point in time); do what has to be done after that",
        )

    def handle(self, **options: Any) -> None:
        if options["place"] is None:
            with plainly(), beat_lock():
                begin_again(options["brought_back_to"])
            self.stdout.write(f"Done. {AFTERWARDS}")
            return
        with plainly(), beat_lock():
            proved = backup_restore(options["place"])
        if not proved.same_signing_key:
            self.stderr.write(
                "The signing key is another than then: links in notices and e-mails that were "
                "sent lead nowhere. Put back signing.key or SHUTLINE_SECRET_KEY to mend that."
            )
        self.stdout.write(
            f"Restored the backup of {proved.manifest.when}: {proved.rows:,} rows, "
            f"{proved.files:,} pictures. {AFTERWARDS}"
        )
