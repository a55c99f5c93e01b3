"""Hashing of passwords and PINs, with a bound on how much of it is done at once.

One hash takes a tenth of a second of a core and a hundred megabytes, on purpose. Without a bound
a few guessers would keep every core, every thread and all of the memory busy. Whoever finds no
place is told at once when to come back; the other half of the threads serves everybody else.
"""

import os
from collections.abc import Iterator
from contextlib import contextmanager
from threading import BoundedSemaphore

from django.conf import settings
from django.contrib.auth.hashers import Argon2PasswordHasher

from core.problems import TooManyRequests

RETRY_AFTER_SECONDS = 2


class Places:
    """So many may hash or wait for it; so many of them hash."""

    def __init__(self, *, waiting: int, working: int) -> None:
        self.waiting = BoundedSemaphore(waiting)
        self.working = BoundedSemaphore(working)

    @contextmanager
    def taken(self) -> Iterator[None]:
        """Hold a place. Raises TooManyRequests where there is none."""
        if not self.waiting.acquire(blocking=False):
            raise TooManyRequests(
                "Too many people are signing in just now.",
                next_step=f"Try again in {RETRY_AFTER_SECONDS} seconds.",
                headers={"Retry-After": str(RETRY_AFTER_SECONDS)},
            )
        try:
            with self.working:
                yield
        finally:
            self.waiting.release()


PLACES = Places(
    waiting=max(2, settings.WEB_THREADS // 2),
    working=max(1, min(os.cpu_count() or 1, settings.WEB_THREADS) // 2),
)


class BoundedHasher(Argon2PasswordHasher):
    """Argon2 as Django has it, within the bound."""

    def encode(self, password: str, salt: str) -> str:
        """Return the hash of a password."""
        with PLACES.taken():
            return super().encode(password, salt)

    def verify(self, password: str, encoded: str) -> bool:
        """Return whether a hash is of this password."""
        with PLACES.taken():
            return super().verify(password, encoded)
