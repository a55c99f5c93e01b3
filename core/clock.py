"""The one clock: aware UTC, so that tests can move it and nobody mixes zones."""

from datetime import UTC, date, datetime, time

from django.utils.timezone import make_aware


def now() -> datetime:
    """Return the present instant in UTC."""
    return datetime.now(UTC)


def instant_of(day: date, hour: int = 0) -> datetime:
    """Return in UTC when the workshop's clocks show this hour of a day.

    An hour that the clocks leave out counts as if they had not been changed yet; of an hour that
    comes twice it is the first.
    """
    return make_aware(datetime.combine(day, time(hour))).astimezone(UTC)
