"""The air of a workshop: what was measured, what is forecast, and what the workshop chose.

Everything here is asked for by the workshop's own id, so that nobody reads another's air.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any
from uuid import UUID

from django.db.models import (
    Case,
    Count,
    DateTimeField,
    Max,
    OuterRef,
    Q,
    QuerySet,
    Subquery,
    Value,
    When,
)
from django.db.models.functions import Coalesce
from django.utils.dateparse import parse_datetime

from jobs.work.calc.air.forecasts import OLDEST_FORECAST_HOURS, ForecastHour
from jobs.work.calc.air.series import LONGEST_MINUTES
from jobs.work.calc.curing.cure import Reading
from jobs.work.models import ClimateReading, ClimateSetup, Forecast, Job, Place

MEASURED = ("at", "celsius", "humidity_percent", "surface_celsius", "mark")
FORECAST = ("issued_at", "hours")

# A day of one reading a minute, and then some; who wants more asks for fewer hours.
MOST_SHOWN = 2000
STALE_FORECAST = timedelta(hours=OLDEST_FORECAST_HOURS)
# A reading says for so long what the air is like, as for the clocks (calc.air_series).
READING_HOLDS = timedelta(minutes=LONGEST_MINUTES)
USED = ~Q(mark=ClimateReading.Mark.STUCK)


def readings_for_clocks(workshop_id: UUID, *, since: datetime, until: datetime) -> list[Reading]:
    """Return the workshop's readings of a time in order, and the last one before it.

    A stuck sensor's are doubtful: they count as not measured, but no cold is thrown away with
    them. One query, by the index over workshop, place and time.
    """
    inside = ClimateReading.objects.filter(workshop_id=workshop_id, place=Place.WORKSHOP)
    before = inside.filter(at__lt=since).order_by("-at").values("at")[:1]
    rows = (
        inside.filter(at__gte=Coalesce(before, Value(since, DateTimeField())), at__lte=until)
        .order_by("at", "sensor")
        .values_list("at", "celsius", "humidity_percent", "mark")
    )
    stuck = ClimateReading.Mark.STUCK
    return [
        Reading(at, celsius, humidity, doubtful=mark == stuck)
        for at, celsius, humidity, mark in rows
    ]


def latest_reading(workshop_id: UUID, place: str) -> ClimateReading | None:
    """Return the newest usable reading at a place, whichever sensor it is of."""
    there = ClimateReading.objects.filter(USED, workshop_id=workshop_id, place=place)
    return there.order_by("-at", "sensor").first()


def last_word(workshop_id: UUID, place: str, *, at: datetime) -> ClimateReading | None:
    """Return what is known last of the air at a place, for whoever is to be warned by it.

    The newest usable reading; where that is more than two hours old, what a stuck sensor said since
    then, as clocks go by its cold and damp. One query, or two where the newest is stuck.
    """
    there = ClimateReading.objects.filter(workshop_id=workshop_id, place=place)
    newest = there.order_by("-at", "sensor").first()
    if newest is None or not newest.is_stuck:
        return newest
    usable = latest_reading(workshop_id, place)
    if usable is None or usable.at < at - READING_HOLDS <= newest.at:
        return newest
    return usable


def trusted_first(readings: QuerySet[ClimateReading]) -> QuerySet[ClimateReading]:
    """Return readings the newest first, those of a stuck sensor after all others."""
    stuck = Case(When(mark=ClimateReading.Mark.STUCK, then=1), default=0)
    return readings.order_by(stuck, "-at", "sensor")


def setup_of(workshop_id: UUID) -> ClimateSetup:
    """Return what a workshop chose about its air; where it chose nothing, an unsaved default."""
    chosen = ClimateSetup.objects.filter(workshop_id=workshop_id).first()
    return chosen or ClimateSetup(workshop_id=workshop_id)


def forecast_of(workshop_id: UUID) -> Forecast | None:
    """Return the last good forecast, however old, or None where there never was one."""
    return Forecast.objects.filter(workshop_id=workshop_id).first()


def forecast_hours(forecast: Forecast | None) -> list[ForecastHour]:
    """Return the hours of a forecast as the sums take them; of none, no hours."""
    if forecast is None:
        return []
    return [
        ForecastHour(
            at=_instant(hour["at"]),
            celsius=hour["celsius"],
            humidity_percent=hour["humidity_percent"],
            rain_chance_percent=hour["rain_chance_percent"],
        )
        for hour in forecast.hours
    ]


def _instant(text: str) -> datetime:
    found = parse_datetime(text)
    if found is None:
        raise ValueError(f"A stored forecast holds a time that is none: {text}.")
    return found


@dataclass(frozen=True, slots=True)
class SensorSeen:
    """One sensor in the time looked at; an empty name is a person."""

    place: str
    sensor: str
    last_at: datetime
    readings: int
    stuck: int


@dataclass(frozen=True, slots=True)
class Air:
    """What is known of a workshop's air; `readings` are the newest of the time, newest first.

    `latest`: the last word of each place, of a stuck sensor where there is no other.
    """

    latest: dict[str, ClimateReading]
    readings: Sequence[ClimateReading]
    more: bool
    sensors: Sequence[SensorSeen]
    setup: ClimateSetup
    forecast: Forecast | None


def air_of(workshop_id: UUID, *, since: datetime, at: datetime) -> Air:
    """Return the air of a workshop since a time: six queries, eight where sensors are stuck."""
    newest = [last_word(workshop_id, place, at=at) for place in Place.values]
    there = ClimateReading.objects.filter(workshop_id=workshop_id, at__gte=since)
    readings = list(there.order_by("-at", "place", "sensor")[: MOST_SHOWN + 1])
    return Air(
        latest={reading.place: reading for reading in newest if reading is not None},
        readings=readings[:MOST_SHOWN],
        more=len(readings) > MOST_SHOWN,
        sensors=_sensors(workshop_id, since),
        setup=setup_of(workshop_id),
        forecast=forecast_of(workshop_id),
    )


def _sensors(workshop_id: UUID, since: datetime) -> list[SensorSeen]:
    rows = (
        ClimateReading.objects.filter(workshop_id=workshop_id, at__gte=since)
        .values("place", "sensor")
        .annotate(last_at=Max("at"), count=Count("pk"), stuck=Count("pk", filter=~USED))
        .order_by("place", "sensor")
        .values_list("place", "sensor", "last_at", "count", "stuck")
    )
    return [SensorSeen(*row) for row in rows]


def is_stale(forecast: Forecast, *, at: datetime) -> bool:
    """Return whether a forecast is too old to go by without a second look."""
    return at - forecast.issued_at > STALE_FORECAST


def forecasts_due(at: datetime, *, limit: int) -> list[tuple[UUID, str, datetime]]:
    """Return the workshops whose forecast is to be fetched, its URL and since when it is due."""
    due = ClimateSetup.objects.exclude(forecast_url="").filter(forecast_next_at__lte=at)
    found = due.order_by("forecast_next_at")
    rows = found.values_list("workshop_id", "forecast_url", "forecast_next_at")
    return [(workshop_id, url, due_at) for workshop_id, url, due_at in rows[:limit] if due_at]


def with_air(jobs: QuerySet[Job], at: datetime) -> QuerySet[Job]:
    """Add to jobs their workshop's air of now and its forecast; `air_with` reads it.

    Of the last two hours the newest usable reading; where there is none, that of a stuck sensor.
    """
    there = trusted_first(
        ClimateReading.objects.filter(
            workshop=OuterRef("workshop"), place=Place.WORKSHOP, at__gte=at - READING_HOLDS
        )
    )
    forecast = Forecast.objects.filter(workshop=OuterRef("workshop"))
    return jobs.annotate(
        **{f"air_{name}": Subquery(there.values(name)[:1]) for name in MEASURED},
        **{f"forecast_{name}": Subquery(forecast.values(name)[:1]) for name in FORECAST},
    )


def air_with(job: Any) -> ClimateReading | None:
    """Return the reading that a job came with, or None where nobody measured lately."""
    known = {name: getattr(job, f"air_{name}") for name in MEASURED}
    return ClimateReading(**known) if known["at"] else None


def forecast_with(job: Any) -> Forecast | None:
    """Return the forecast that a job came with, or None where the workshop has none."""
    known = {name: getattr(job, f"forecast_{name}") for name in FORECAST}
    return Forecast(**known) if known["issued_at"] else None
