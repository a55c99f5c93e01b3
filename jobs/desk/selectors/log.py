"""The log of one day at a workshop: every history entry of that day, in the order it happened."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from uuid import UUID

from django.db.models import QuerySet

from accounts.caller import Caller
from jobs.desk.selectors.cars import mentions
from jobs.work.models import HistoryEntry
from jobs.work.selectors.hours import day_span
from jobs.work.selectors.jobs.jobs import jobs_of

PAGE = 200
MOST_ON_ONE = 5000  # entries on one page to print; no workshop makes more in a day
# A device's clock may be a little ahead of ours, so an entry may lie a little after its record.
CLOCKS_DIFFER = timedelta(minutes=10)


@dataclass(frozen=True, slots=True)
class LogPage:
    """Some entries of a day; `pages` counts from 1, and 1 of a day with nothing in it."""

    entries: Sequence[HistoryEntry]
    count: int
    number: int
    pages: int


@dataclass(frozen=True, slots=True)
class Actor:
    """Somebody, or a system, that did something that day; `key` narrows the log to them."""

    key: str
    name: str


def log_of(
    caller: Caller, day: date, *, who: str = "", car: str = "", page: int = 1, whole: bool = False
) -> LogPage:
    """Return a page of the day's log, or with `whole` all of it: two queries.

    `who` is an Actor's key, `car` a part of a mark or reference.
    """
    entries = _of_day(caller, day)
    if who:
        entries = entries.filter(**_narrowed_to(who))
    if car:
        entries = entries.filter(job__in=jobs_of(caller).filter(mentions(car)))
    size = MOST_ON_ONE if whole else PAGE
    count = entries.count()
    pages = max(1, -(-count // size))
    number = min(max(1, page), pages)
    ordered = entries.select_related("job").order_by("occurred_at", "job_id", "number")
    return LogPage(list(ordered[(number - 1) * size : number * size]), count, number, pages)


def actors_of(caller: Caller, day: date) -> list[Actor]:
    """Return who did something that day, by name: one query."""
    rows = _of_day(caller, day).order_by("actor").values_list("actor", "actor_person_id").distinct()
    return list(dict.fromkeys(Actor(str(person or name), name) for name, person in rows if name))


def _of_day(caller: Caller, day: date) -> QuerySet[HistoryEntry]:
    """Return the entries of the day, by the time things happened.

    Only jobs that changed since then can have any, which an index of the workshop's jobs tells
    before any history is read.
    """
    whole = day_span(day)
    cars = jobs_of(caller).filter(
        updated_at__gte=whole.start - CLOCKS_DIFFER, received_at__lt=whole.end + CLOCKS_DIFFER
    )
    return HistoryEntry.objects.filter(
        job__in=cars, occurred_at__gte=whole.start, occurred_at__lt=whole.end
    )


def _narrowed_to(who: str) -> dict[str, str | UUID]:
    try:
        return {"actor_person_id": UUID(who)}
    except ValueError:
        return {"actor": who}
