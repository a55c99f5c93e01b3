"""The air: readings taken in one by one, doubtful ones marked, and what a workshop chose."""

from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum
from typing import Any
from uuid import UUID

from django.db import transaction

from accounts.caller import Caller, Scope
from core.clock import now
from core.left_out import LEFT_OUT, LeftOut, named, or_else
from core.outbound.addresses import check_url
from core.problems import InvalidRequest, NotAllowed
from jobs.work.calc.air.doubts import (
    LATE_REASON,
    STUCK_GAP,
    STUCK_REASON,
    SURROUNDINGS,
    Said,
    marks_beside,
    reaches_beyond,
)
from jobs.work.models import ClimateReading, ClimateSetup, Place
from jobs.work.selectors.curing.clocks import READ_BACK
from jobs.work.services.curing.clocks import sums_forget
from jobs.work.services.jobs.wake import wake_clocks

Mark = ClimateReading.Mark
REASONS: Mapping[str, str] = {Mark.LATE: LATE_REASON, Mark.STUCK: STUCK_REASON}
OTHER_VALUE = "other_value"


@dataclass(frozen=True, slots=True)
class Measured:
    """One reading as somebody sent it; an empty `sensor` is a person."""

    at: datetime
    celsius: float
    humidity_percent: float | None = None
    surface_celsius: float | None = None
    place: str = Place.WORKSHOP
    sensor: str = ""


class Outcome(StrEnum):
    """What became of one reading."""

    TAKEN = "taken"
    MARKED = "marked"
    KNOWN = "known"
    REFUSED = "refused"


@dataclass(frozen=True, slots=True)
class Taken:
    """What became of one reading: the row, or the one that stands in its way."""

    reading: ClimateReading
    outcome: Outcome
    code: str = ""
    message: str = ""


@transaction.atomic
def readings_take(*, caller: Caller, measured: Sequence[Measured]) -> list[Taken]:
    """Take readings in, as one by one in this order; return what became of each, in the order.

    An exact duplicate is known already; another value for the same instant, place and sensor is
    refused. New ones in the workshop make its clocks due and wake a worker after the commit; one
    from before what a long clock has summed up has it summed up again.
    """
    setup = setup_for_change(caller.organisation_id)
    taken: list[Taken | None] = [None] * len(measured)
    looks = []
    for numbers in _together(measured):
        look = _look(caller.organisation_id, [measured[number] for number in numbers])
        for number in numbers:
            taken[number] = _take(look, measured[number], caller)
        looks.append(look)
    fresh = [row for look in looks for row in look.fresh]
    ClimateReading.objects.bulk_create(fresh)
    for look in looks:
        _mark_stuck(look)
    inside = [row.at for row in fresh if row.place == Place.WORKSHOP]
    if inside:
        if min(inside) < now() - READ_BACK:
            sums_forget(caller.organisation_id, since=min(inside))
        setup.clocks_due = True
        setup.save(update_fields=["clocks_due"])
        transaction.on_commit(wake_clocks)
    return [_judged(result) for result in taken if result is not None]


def setup_for_change(workshop_id: UUID) -> ClimateSetup:
    """Return what a workshop chose, with the row locked: all that changes its air queues here."""
    ClimateSetup.objects.bulk_create([ClimateSetup(workshop_id=workshop_id)], ignore_conflicts=True)
    return ClimateSetup.objects.select_for_update().get(workshop_id=workshop_id)


@dataclass(slots=True)
class _Look:
    """What stands of one sensor around the times of some readings, and what comes in."""

    there: dict[datetime, ClimateReading]
    latest_at: datetime | None
    fresh: list[ClimateReading]


def _together(measured: Sequence[Measured]) -> Iterator[list[int]]:
    """Yield the numbers of the readings of one sensor that lie near each other, as they came."""
    by_sensor: defaultdict[tuple[str, str], list[int]] = defaultdict(list)
    for number, reading in enumerate(measured):
        by_sensor[reading.place, reading.sensor].append(number)
    for numbers in by_sensor.values():
        by_time = sorted(numbers, key=lambda number: measured[number].at)
        begin = 0
        for index in range(1, len(by_time) + 1):
            if (
                index == len(by_time)
                or measured[by_time[index]].at - measured[by_time[index - 1]].at > 2 * STUCK_GAP
            ):
                yield sorted(by_time[begin:index])
                begin = index


def _rows(workshop_id: UUID, reading: Measured | ClimateReading) -> Any:
    return ClimateReading.objects.filter(
        workshop_id=workshop_id, place=reading.place, sensor=reading.sensor
    )


def _look(workshop_id: UUID, measured: Sequence[Measured]) -> _Look:
    first, last = min(reading.at for reading in measured), max(reading.at for reading in measured)
    rows = _rows(workshop_id, measured[0])
    there = rows.filter(at__gte=first - STUCK_GAP, at__lte=last + STUCK_GAP).order_by("at")
    later = rows.filter(at__gt=first).order_by("-at").values_list("at", flat=True)
    return _Look({row.at: row for row in there}, later.first(), [])


def _take(look: _Look, reading: Measured, caller: Caller) -> Taken:
    stands = look.there.get(reading.at)
    if stands is not None:
        return _stands(stands, reading)
    late = look.latest_at is not None and reading.at < look.latest_at
    row = ClimateReading(
        workshop_id=caller.organisation_id,
        place=reading.place,
        sensor=reading.sensor,
        at=reading.at,
        celsius=reading.celsius,
        humidity_percent=reading.humidity_percent,
        surface_celsius=reading.surface_celsius,
        mark=Mark.LATE if late else Mark.NONE,
        recorded_at=now(),
        actor=caller.name,
    )
    look.there[reading.at] = row
    look.latest_at = max(look.latest_at or reading.at, reading.at)
    look.fresh.append(row)
    return Taken(row, Outcome.TAKEN)


def _stands(row: ClimateReading, reading: Measured) -> Taken:
    same = (
        (row.celsius, row.humidity_percent, row.surface_celsius)
        == (reading.celsius, reading.humidity_percent, reading.surface_celsius)
    )  # fmt: skip
    if same:
        return Taken(row, Outcome.KNOWN)
    whose = f"of {row.sensor}" if row.sensor else "without a sensor's name"
    humidity = "" if row.humidity_percent is None else f" and {row.humidity_percent:g} %"
    return Taken(
        row,
        Outcome.REFUSED,
        OTHER_VALUE,
        f"Another reading {whose} stands for this instant: {row.celsius:g} °C{humidity}. "
        "What was measured is not overwritten; send the time of this one, or name its sensor.",
    )


def _judged(taken: Taken) -> Taken:
    """Return what became of a reading, now that all marks are known."""
    reason = REASONS.get(taken.reading.mark, "")
    if taken.outcome is Outcome.REFUSED or not reason:
        return taken
    outcome = Outcome.MARKED if taken.outcome is Outcome.TAKEN else taken.outcome
    return Taken(taken.reading, outcome, taken.reading.mark, reason)


def _mark_stuck(look: _Look) -> None:
    """Mark what a sensor repeated for too long, and lift the marks where it turns out that not."""
    if not look.fresh:
        return
    fresh = [row.at for row in look.fresh]
    rows = [look.there[at] for at in sorted(look.there)]
    said = [_said(row) for row in rows]
    if reaches_beyond(said, fresh):
        around = _rows(look.fresh[0].workshop_id, look.fresh[0]).filter(
            at__gte=min(fresh) - SURROUNDINGS, at__lte=max(fresh) + SURROUNDINGS
        )
        rows = [look.there.get(row.at, row) for row in around.order_by("at")]
        said = [_said(row) for row in rows]
    stuck: list[UUID] = []
    lifted: list[UUID] = []
    for index, is_stuck in marks_beside(said, fresh).items():
        row = rows[index]
        if is_stuck != (row.mark == Mark.STUCK):
            row.mark = Mark.STUCK if is_stuck else Mark.NONE
            (stuck if is_stuck else lifted).append(row.pk)
    for keys, mark in ((stuck, Mark.STUCK), (lifted, Mark.NONE)):
        if keys:
            ClimateReading.objects.filter(pk__in=keys).update(mark=mark)


def _said(row: ClimateReading) -> Said:
    return Said(row.at, row.celsius, row.humidity_percent)


@dataclass(frozen=True, slots=True, kw_only=True)
class SetupChange:
    """What changes of what a workshop chose about its air."""

    ready_by_itself: bool | LeftOut = LEFT_OUT
    air: str | LeftOut = LEFT_OUT
    forecast_url: str | LeftOut = LEFT_OUT


@transaction.atomic
def climate_setup_change(*, caller: Caller, changes: SetupChange) -> ClimateSetup:
    """Change what the workshop chose; a new URL is tried at once, an old problem is forgotten.

    Raises NotAllowed where a system may not choose a URL, for this service calls it from then on,
    and InvalidRequest for one that could never be fetched.
    """
    if changes.forecast_url is not LEFT_OUT and not caller.may(Scope.FORECAST):
        raise NotAllowed(
            f"forecast_url needs the scope {Scope.FORECAST}.",
            next_step="Leave forecast_url out, or ask for a key that may choose it.",
            extra={"required_scope": str(Scope.FORECAST)},
        )
    url = or_else(changes.forecast_url, "")
    if url:
        try:
            check_url(url)
        except ValueError as error:
            raise InvalidRequest(
                f"forecast_url: {error}", errors=[{"field": "forecast_url", "message": str(error)}]
            ) from error
    setup = setup_for_change(caller.organisation_id)
    if changes.forecast_url is not LEFT_OUT and url != setup.forecast_url:
        setup.forecast_next_at = now() if url else None
        setup.forecast_problem, setup.forecast_tried_at = "", None
    for name, value in named(changes).items():
        setattr(setup, name, value)
    setup.save()
    return setup
