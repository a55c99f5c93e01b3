"""The lock of the one beat of a data folder, by which it is known that the service runs there."""

import fcntl
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from django.conf import settings


class BeatRuns(Exception):  # noqa: N818  it says what happened
    """Somebody else holds the lock."""


@contextmanager
def beat_lock() -> Iterator[None]:
    """Hold the lock; the system frees it however we end. Raises BeatRuns."""
    path = Path(settings.DATA_DIR) / "beat.lock"
    path.parent.mkdir(parents=True, exist_ok=True)
    with path.open("w") as file:
        try:
            fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError as error:
            raise BeatRuns from error
        yield
