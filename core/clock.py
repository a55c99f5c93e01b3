"""The one clock: aware UTC, so that tests can move it and nobody mixes zones."""

from collections.abc import Iterable
from datetime import UTC, date, datetime, time, timedelta

from django.utils.timezone import localtime, make_aware


def now() -> datetime:
    """Return the present instant in UTC."""
    return datetime.now(UTC)


def instant_of(day: date, hour: int = 0) -> datetime:
    """Return in UTC when the workshop's clocks show this hour of a day.

    An hour that the clocks leave out counts as if they had not been changed yet; of an hour that
    comes twice it is the first.
    """
    return make_aware(datetime.combine(day, time(hour))).astimezone(UTC)


def next_change(
    at: datetime, moments: Iterable[datetime | None] = (), *, every: timedelta | None = None
) -> datetime:
    """Return when words about times change next: at the first of some moments, or at midnight.

    Moments that are past say nothing. `every`: they also change whenever so much of an hour is
    over, as minutes that go on do.
    """
    coming = [moment for moment in moments if moment is not None and moment >= at]
    if every is not None:
        hour = at.replace(minute=0, second=0, microsecond=0)
        coming.append(hour + ((at - hour) // every + 1) * every)
    return min([*coming, instant_of(localtime(at).date() + timedelta(days=1))])
