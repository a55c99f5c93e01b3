"""Instants: differences of times are elapsed time, also on the days when the clocks change.

Python subtracts and compares two times of the same zone by what a clock on the wall shows, so a
car that stands through the night of a change would be inside for an hour too long or too short.
"""

from datetime import UTC, datetime, timedelta


def to_utc(at: datetime) -> datetime:
    """Return the moment in UTC, where differences are elapsed time even when clocks go back.

    Raises ValueError for a time without a time zone.
    """
    if at.tzinfo is None:
        raise ValueError("A moment needs its time zone.")
    return at.astimezone(UTC)


def minutes_between(start: datetime, end: datetime) -> float:
    """Return the elapsed minutes. Raises ValueError for a time without a time zone."""
    return (to_utc(end) - to_utc(start)) / timedelta(minutes=1)
