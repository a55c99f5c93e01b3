"""When to try again: waiting times, jitter, Retry-After, and when to give up. Pure sums."""

import re
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from email.utils import parsedate_to_datetime

# Each wait is spread over ±10 %, so that what failed together does not return together.
JITTER = 0.1
LONGEST_RETRY_AFTER = timedelta(hours=24)
SLOWED_FOR = timedelta(seconds=60)  # where the receiver does not say for how long
GONE = 410
SLOWING = frozenset({429, 502, 504})  # Standard Webhooks 1.0.0 names these three
_DELAY_SECONDS = re.compile(r"[0-9]{1,10}")


@dataclass(frozen=True, slots=True)
class Verdict:
    """What follows from a failed attempt."""

    next_attempt_at: datetime | None  # None: that was the last one
    slow_until: datetime | None = None
    gone: bool = False


def after_failure(
    *,
    tries: int,
    waits_seconds: Sequence[float],
    status: int | None,
    retry_after: str | None,
    at: datetime,
    spread: float,
) -> Verdict:
    """Say what follows from a failed attempt.

    `tries` counts the attempts made, this one included. `waits_seconds` holds the wait before
    each attempt; the first is before attempt one. `spread` is from -1 to 1, drawn at random by
    the caller. A Retry-After can only lengthen the wait, by 24 hours at most.
    """
    asked = retry_after_wait(retry_after, at=at)
    slow_until = at + (asked or SLOWED_FOR) if status in SLOWING else None
    if tries >= len(waits_seconds):
        return Verdict(None, slow_until, gone=status == GONE)
    wait = timedelta(seconds=waits_seconds[tries] * (1 + JITTER * spread))
    return Verdict(at + max(wait, asked or wait), slow_until, gone=status == GONE)


def retry_after_wait(value: str | None, *, at: datetime) -> timedelta | None:
    """Read a Retry-After header (RFC 9110 10.2.3): seconds or a date. None where it says nothing.

    Never below zero, never above 24 hours.
    """
    text = (value or "").strip()
    if not text:
        return None
    if _DELAY_SECONDS.fullmatch(text):
        wait = timedelta(seconds=int(text))
    else:
        try:
            moment = parsedate_to_datetime(text)
        except ValueError:
            return None
        # RFC 9110 dates are in GMT; the parser leaves the zone out where they say "-0000".
        wait = moment.replace(tzinfo=moment.tzinfo or UTC) - at
    return min(max(wait, timedelta(0)), LONGEST_RETRY_AFTER)
