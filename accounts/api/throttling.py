"""A limit on requests per caller and minute, counted in this process.

In memory on purpose: a counter in the database or in Redis would cost the polling call more than
the call itself. With N web processes a caller may make up to N times the limit.
"""

import time
from threading import Lock
from typing import Any

from django.conf import settings
from rest_framework.request import Request
from rest_framework.throttling import BaseThrottle

from accounts.caller import Caller
from core.client_address import client_address, neighbourhood

MINUTE_SECONDS = 60


class MinuteCounter:
    """Counts by key within the current minute; memory is freed when the minute turns."""

    def __init__(self) -> None:
        self._lock = Lock()
        self._minute = -1
        self._counts: dict[str, int] = {}

    def count(self, key: str) -> int:
        """Add one to the key's count for this minute and return it."""
        minute = int(time.time()) // MINUTE_SECONDS
        with self._lock:
            if minute != self._minute:
                self._minute, self._counts = minute, {}
            total = self._counts.get(key, 0) + 1
            self._counts[key] = total
        return total

    def clear(self) -> None:
        """Forget every count."""
        with self._lock:
            self._counts = {}


COUNTER = MinuteCounter()


def over_limit(key: str) -> bool:
    """Count one request and say whether it is over the limit."""
    return COUNTER.count(key) > settings.REQUESTS_PER_MINUTE


def address_key(request: Request) -> str:
    """Return what a request is counted under where nobody has signed in."""
    return f"address {neighbourhood(client_address(request))}"


class CallerThrottle(BaseThrottle):
    """Limits a key, a person, or at the calls that are open to all, an address."""

    def allow_request(self, request: Request, view: Any) -> bool:
        del view
        caller = request.auth if isinstance(request.auth, Caller) else None
        return not over_limit(caller.limit_key if caller else address_key(request))

    def wait(self) -> float:
        return MINUTE_SECONDS - time.time() % MINUTE_SECONDS
