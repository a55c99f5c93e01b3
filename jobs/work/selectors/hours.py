"""The capacity of a workshop by day of the week, and how long its days are."""

from datetime import date, timedelta

from accounts.caller import Caller
from core.clock import instant_of
from jobs.work.calc.tasks.worktime import Span
from jobs.work.models import DayCapacity


def capacity_of(caller: Caller) -> dict[int, int]:
    """Return the minutes of work for each day of the week that was set; Monday is 0."""
    days = DayCapacity.objects.filter(workshop_id=caller.organisation_id)
    return dict(days.order_by("weekday").values_list("weekday", "minutes"))


def day_span(day: date) -> Span:
    """Return a day of the workshop's as a stretch of time in UTC: 23 to 25 hours long."""
    return Span(instant_of(day), instant_of(day + timedelta(days=1)))
