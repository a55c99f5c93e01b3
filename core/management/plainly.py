"""Says what stopped a command in a sentence: no stack reaches whoever runs it."""

import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager

from django.conf import settings
from django.core.management.base import CommandError
from django.db import Error as DatabaseError

from core.backup.problems import BackupError
from core.serving.beat_lock import BeatRuns


@contextmanager
def plainly() -> Iterator[None]:
    """Raise CommandError for what goes wrong with a backup, its disk or its database."""
    try:
        yield
    except BackupError as error:
        raise CommandError(str(error)) from error
    except BeatRuns as error:
        raise CommandError(
            f"The service runs on {settings.DATA_DIR}. Stop it first, then try this again."
        ) from error
    except OSError as error:
        raise CommandError(f"The disk or store of files refused: {error}.") from error
    except (DatabaseError, sqlite3.Error) as error:
        raise CommandError(f"The database refused: {str(error).strip()}.") from error
