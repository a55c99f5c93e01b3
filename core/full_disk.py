"""A full disk is called a full disk: to whoever asked, and in the log once a minute."""

import errno
import logging
import sqlite3
import sys
import time
from collections.abc import Iterator
from threading import Lock
from types import TracebackType
from typing import Any

from core.problems import DiskFull

FULL = frozenset({errno.ENOSPC, errno.EDQUOT})
POSTGRES_DISK_FULL = "53100"  # SQLSTATE disk_full
SQLITE_WORDS = "database or disk is full"
RETRY_AFTER_SECONDS = 60
QUIET_SECONDS = 60
ExcInfo = tuple[type[BaseException], BaseException, TracebackType | None]


def disk_full() -> DiskFull:
    """Return the problem to answer with."""
    return DiskFull(
        "The service's disk is full, so nothing can be kept.",
        headers={"Retry-After": str(RETRY_AFTER_SECONDS)},
    )


def is_full_disk(error: BaseException | None) -> bool:
    """Return whether an error, or one that it came of, is a full disk."""
    return any(_is_one(cause) for cause in _causes(error))


def _is_one(error: BaseException) -> bool:
    if isinstance(error, DiskFull):
        return True
    if isinstance(error, OSError):
        return error.errno in FULL
    if isinstance(error, sqlite3.Error):
        return SQLITE_WORDS in str(error)
    return getattr(error, "sqlstate", None) == POSTGRES_DISK_FULL


def _causes(error: BaseException | None) -> Iterator[BaseException]:
    seen: set[int] = set()
    while error is not None and id(error) not in seen:
        seen.add(id(error))
        yield error
        error = error.__cause__ or error.__context__


class FullDiskOnceAMinute(logging.Filter):
    """Lets one line about a full disk through a minute, and names it `disk_full`."""

    def __init__(self) -> None:
        super().__init__()
        self._lock = Lock()
        self._quiet_until = 0.0

    def filter(self, record: logging.LogRecord) -> bool:
        """Return whether the line is to be written."""
        if not is_full_disk(_error_of(record)):
            return True
        with self._lock:
            moment = time.monotonic()
            if moment < self._quiet_until:
                return False
            self._quiet_until = moment + QUIET_SECONDS
        said: Any = record.msg
        if isinstance(said, dict):
            record.msg = {**said, "event": "disk_full", "while": said.get("event")}
        else:
            record.msg, record.args = f"disk_full: {record.getMessage()}", ()
        return True


def _error_of(record: logging.LogRecord) -> BaseException | None:
    """Return the error that a line is about, or None."""
    said: Any = record.msg
    raised: Any = said.get("exc_info") if isinstance(said, dict) else None
    raised = raised or record.exc_info
    if raised is True:
        return sys.exception()
    if isinstance(raised, tuple):
        raised = raised[1]
    return raised if isinstance(raised, BaseException) else None
