"""Whether the work wanted back by each day fits into the time there is until then.

A car's open minutes count on the day it is wanted back. What must be done by the end of a day is
everything wanted by then, the late ones first; what there is till then is the capacity of all days
from today on. Days are the workshop's own, so a day of 23 or 25 hours is a day like any other.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from jobs.work.calc.instants import to_utc

DAYS_SHOWN = 14


@dataclass(frozen=True, slots=True)
class WantedCar:
    """One car: the day it is wanted back (None: no day was named), its open minutes of work."""

    day: date | None
    minutes: int
    late: bool = False


@dataclass(frozen=True, slots=True)
class Share:
    """Some cars together: how many, and their open minutes."""

    cars: int = 0
    minutes: int = 0


@dataclass(frozen=True, slots=True)
class DayLoad:
    """One day: what is wanted back on it, and by its end what must be done and what there is.

    All in minutes; `wanted` is of this day alone, `must` and `available` of all days until its end.
    """

    day: date
    wanted: Share
    capacity: int
    must: int
    available: int

    @property
    def over(self) -> int:
        """Return by how many minutes the work goes beyond the time; 0 where it fits."""
        return max(0, self.must - self.available)


@dataclass(frozen=True, slots=True)
class DueLoad:
    """The days to come, and the cars that stand on none of them."""

    late: Share
    days: Sequence[DayLoad]
    beyond: Share
    undated: Share


def minutes_left(*, planned: int, worked: int) -> int:
    """Return the minutes of a task still to be worked: planned minus worked, not below zero."""
    return max(0, planned - worked)


def is_late(due_at: datetime, at: datetime) -> bool:
    """Return whether a car is wanted back before this instant.

    Raises ValueError for a time without a time zone.
    """
    return to_utc(due_at) < to_utc(at)


def due_load(
    cars: Iterable[WantedCar],
    *,
    today: date,
    capacity: Mapping[int, int],
    worked_today: int = 0,
    days: int = DAYS_SHOWN,
) -> DueLoad:
    """Return the load of today and the days after it.

    `capacity`: minutes of work for each day of the week, Monday is 0; a day it does not name has
    none. `worked_today`: minutes worked today already, which are not there any more; today's
    capacity never falls below zero by them.
    """
    known = list(cars)
    last = today + timedelta(days=days - 1)
    late = _share(car for car in known if car.late)
    in_time = [car for car in known if not car.late]
    must, available = late.minutes, 0
    loads = []
    for number in range(days):
        day = today + timedelta(days=number)
        wanted = _share(car for car in in_time if car.day == day)
        whole = capacity.get(day.weekday(), 0)
        left = whole if number else max(0, whole - worked_today)
        must += wanted.minutes
        available += left
        loads.append(DayLoad(day, wanted, left, must, available))
    return DueLoad(
        late=late,
        days=loads,
        beyond=_share(car for car in in_time if car.day is not None and car.day > last),
        undated=_share(car for car in in_time if car.day is None),
    )


def _share(cars: Iterable[WantedCar]) -> Share:
    minutes = [car.minutes for car in cars]
    return Share(len(minutes), sum(minutes))
