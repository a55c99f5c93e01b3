"""The lock of the one beat of a data folder, by which it is known that the service runs there."""

import fcntl
from pathlib import Path
from typing import TextIO

from django.conf import settings


class BeatRuns(Exception):  # noqa: N818  it says what happened
    """Somebody else holds the lock."""


def beat_lock() -> TextIO:
    """Take the lock and return its file; closing that frees it, however we end. Raises BeatRuns."""
    path = Path(settings.DATA_DIR) / "beat.lock"
    path.parent.mkdir(parents=True, exist_ok=True)
    file = path.open("w")
    try:
        fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except BlockingIOError as error:
        file.close()
        raise BeatRuns from error
    return file
