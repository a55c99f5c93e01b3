"""Bring the database up to date, beside the work of the release before."""

import time
from typing import Any

from django.core.management.base import CommandError
from django.core.management.commands import migrate
from django.db import OperationalError, connections

from core.schema import PAUSE_SECONDS, alone, giving_way, lock_was_taken


class Command(migrate.Command):
    """`manage.py migrate`: Django's own, which on PostgreSQL waits its turn and gives way."""

    def handle(self, *args: Any, **options: Any) -> None:
        database = connections[options["database"]]
        try:
            database.ensure_connection()
        except OperationalError as error:
            raise CommandError(
                f"The database does not answer: {error}".strip()
                + "\nCheck DATABASE_URL, and that the database runs."
            ) from error
        only_looks = options["plan"] or options["check_unapplied"]
        if database.vendor != "postgresql" or only_looks:
            super().handle(*args, **options)
            return
        with alone(database), giving_way(database):
            while not self._migrated(*args, **options):
                time.sleep(PAUSE_SECONDS)

    def _migrated(self, *args: Any, **options: Any) -> bool:
        """Migrate; return False where a transaction gave way, of which nothing is left."""
        try:
            super().handle(*args, **options)
        except OperationalError as error:
            if not lock_was_taken(error):
                raise
            if self.verbosity:
                self.stdout.write("A table was in use. Trying again.")
            return False
        return True
