"""The air as an answer: rows and what follows from them in plain values."""

from collections.abc import Sequence
from dataclasses import asdict
from datetime import datetime

from jobs.work.answers.air.outputs import (
    ClimateOutput,
    ClimateTakenOutput,
    FetchingOutput,
    ForecastOutput,
    ForecastTakenOutput,
    LatestOutput,
    ReadingOutput,
    ReadingTakenOutput,
    SensorOutput,
)
from jobs.work.calc.air.climate import (
    dew_point,
    frost_risk,
    surface_margin,
    vapour_pressure_deficit,
)
from jobs.work.models import ClimateReading, ClimateSetup, Forecast
from jobs.work.selectors.air import Air, is_stale
from jobs.work.services.air.readings import Outcome, Taken


def air(known: Air, *, at: datetime, hours: int) -> ClimateOutput:
    """Return all that is known of a workshop's air, as of a time."""
    return ClimateOutput(
        latest=[latest(reading, at=at) for reading in known.latest.values()],
        hours=hours,
        readings=ReadingOutput.rows(known.readings),
        more=known.more,
        sensors=[SensorOutput(**asdict(sensor)) for sensor in known.sensors],
        forecast=None if known.forecast is None else forecast(known.forecast, at=at),
        fetching=fetching(known.setup),
    )


def latest(reading: ClimateReading, *, at: datetime) -> LatestOutput:
    """Return a reading with its age and what follows from it; without humidity that is little."""
    damp, air_celsius = reading.humidity_percent, reading.celsius
    dew = deficit = margin = None
    if damp is not None:
        dew = round(dew_point(air_celsius, damp), 1)
        deficit = round(vapour_pressure_deficit(air_celsius, damp))
        margin = round(surface_margin(air_celsius, damp, reading.surface_celsius), 1)
    return LatestOutput(
        place=reading.place,
        age_minutes=minutes(reading.at, at),
        reading=ReadingOutput(reading).data,
        dew_point_celsius=dew,
        surface_margin_kelvin=margin,
        vapour_pressure_deficit_pascals=deficit,
        frost_risk=frost_risk(air_celsius, damp).value,
    )


def forecast(row: Forecast, *, at: datetime) -> ForecastOutput:
    """Return a forecast with its age."""
    return ForecastOutput(
        way=row.way,
        issued_at=row.issued_at,
        received_at=row.received_at,
        age_minutes=minutes(row.issued_at, at),
        stale=is_stale(row, at=at),
        hours=row.hours,
    )


def fetching(setup: ClimateSetup) -> FetchingOutput:
    """Return how fetching goes; the URL itself may hold a secret and stands in the setup only."""
    return FetchingOutput(
        on=bool(setup.forecast_url),
        tried_at=setup.forecast_tried_at,
        next_at=setup.forecast_next_at,
        problem=setup.forecast_problem,
    )


def minutes(since: datetime, at: datetime) -> int:
    """Return whole minutes from a time to another, none before it."""
    return max(0, round((at - since).total_seconds() / 60))


def line(number: int, taken: Taken) -> ReadingTakenOutput:
    """Return what became of one reading."""
    refused = taken.outcome is Outcome.REFUSED
    return ReadingTakenOutput(
        line=number,
        outcome=taken.outcome.value,
        code=taken.code,
        message=taken.message,
        errors=[{"field": "at", "message": taken.message}] if refused else [],
        reading=None if refused else ReadingOutput(taken.reading).data,
    )


def taken_in(
    lines: Sequence[ReadingTakenOutput], forecast_line: ForecastTakenOutput | None
) -> ClimateTakenOutput:
    """Return what became of all that was sent."""
    fates = [taken.outcome for taken in lines]
    return ClimateTakenOutput(
        taken=fates.count(Outcome.TAKEN),
        marked=fates.count(Outcome.MARKED),
        known=fates.count(Outcome.KNOWN),
        refused=fates.count(Outcome.REFUSED),
        readings=lines,
        forecast=forecast_line,
    )
