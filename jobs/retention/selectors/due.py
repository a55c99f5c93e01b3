"""What a sweep would remove now, by kind and workshop: for a dry run, which changes nothing."""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from axes.models import AccessAttempt, AccessFailureLog, AccessLog
from django.contrib.admin.models import LogEntry
from django.db.models import Count, Min, Q, QuerySet

from jobs.retention.selectors.cars import OF_CARS, cars_over, unsettled
from jobs.retention.selectors.mail import mail_files
from jobs.retention.selectors.terms import over, over_for_all
from jobs.retention.terms import DataKind
from jobs.work.models import ClimateReading, OrderImport
from notifications.models import Attempt, Delivery, Event

SIGN_INS = (AccessAttempt, AccessFailureLog, AccessLog)


@dataclass(frozen=True, slots=True)
class Due:
    """How much of a kind would go at a workshop, from when on; `kept`: cars that are let stand."""

    kind: str
    workshop: str
    count: int
    oldest: datetime | None
    kept: int = 0


def due(at: datetime) -> Iterator[Due]:
    """Yield what would go: cars, or rows of what is not about one car."""
    for kind in OF_CARS:
        yield from _cars(kind, at)
    readings = ClimateReading.objects.filter(over(DataKind.READINGS, at, moment="at"))
    yield from _by_place(DataKind.READINGS, readings, "at", "workshop__name")
    attempts = Attempt.objects.filter(started_at__lt=over_for_all(DataKind.ATTEMPTS, at))
    yield from _by_place(
        DataKind.ATTEMPTS, attempts, "started_at", "delivery__event__workshop__name"
    )
    yield from _by_place(DataKind.NOTICES, _events(at), "recorded_at", "workshop__name")
    imports = OrderImport.objects.filter(finished_at__lt=over_for_all(DataKind.IMPORTS, at))
    yield from _whole(DataKind.IMPORTS, imports, "finished_at")
    for model in SIGN_INS:
        tried = model.objects.filter(attempt_time__lt=over_for_all(DataKind.SIGN_INS, at))
        yield from _whole(DataKind.SIGN_INS, tried, "attempt_time")
    acts = LogEntry.objects.filter(action_time__lt=over_for_all(DataKind.OPERATOR, at))
    yield from _whole(DataKind.OPERATOR, acts, "action_time")
    written = [when for _, when in mail_files() if when < over_for_all(DataKind.MAIL, at)]
    if written:
        yield Due(DataKind.MAIL, "", len(written), min(written))


def _cars(kind: DataKind, at: datetime) -> Iterator[Due]:
    cars = cars_over(kind, at)
    staying = dict(
        cars.filter(unsettled()).values_list("workshop__name").annotate(count=Count("pk"))
    )
    going = cars.exclude(unsettled()).values_list("workshop__name")
    found = {
        name: (count, oldest)
        for name, count, oldest in going.annotate(count=Count("pk"), oldest=Min("closed_at"))
    }
    for name in sorted(found.keys() | staying.keys()):
        count, oldest = found.get(name, (0, None))
        yield Due(kind, name, count, oldest, staying.get(name, 0))


def _events(at: datetime) -> QuerySet[Event]:
    waiting = Delivery.objects.filter(state=Delivery.State.WAITING)
    old = Event.objects.filter(recorded_at__lt=over_for_all(DataKind.NOTICES, at))
    return old.filter(position__isnull=False).exclude(Q(number__in=waiting.values("event")))


def _by_place(
    kind: DataKind,
    rows: QuerySet[Any],
    moment: str,
    place: str,
) -> Iterator[Due]:
    grouped = rows.values(place).annotate(count=Count("pk"), oldest=Min(moment)).order_by(place)
    for row in grouped:
        yield Due(kind, row[place] or "", row["count"], row["oldest"])


def _whole(kind: DataKind, rows: QuerySet[Any], moment: str) -> Iterator[Due]:
    found = rows.aggregate(count=Count("pk"), oldest=Min(moment))
    if found["count"]:
        yield Due(kind, "", found["count"], found["oldest"])
