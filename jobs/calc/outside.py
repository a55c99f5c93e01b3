"""The earliest time at which a car may safely stand outside, by its clocks and the forecast.

What cures may cure on outside while every hour until it is done is dry, free of frost and clear of
the dew point; what dries stays inside until it is dry. The reasons hold no times of day: a caller
says those, from `at` and `hour_at`, in the clock of the workshop.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from enum import StrEnum

from jobs.calc.climate import LEAST_MARGIN_KELVIN, Frost, frost_risk, surface_margin
from jobs.calc.cure import Cure, Estimate, Halted
from jobs.calc.forecast_fit import ROUNDING_MINUTES, Hour, Need, first_fit, spells_of
from jobs.calc.instants import minutes_between, to_utc

# At most this chance of rain counts as dry, and a forecast older than this says nothing of today's
# weather: our own figures.
DRY_CHANCE_PERCENT = 20.0
OLDEST_FORECAST_HOURS = 12.0
_HOUR_MINUTES = 60.0
_PERCENT = 100.0


class Code(StrEnum):
    """What decides when a car may go outside."""

    NOTHING_WAITS = "nothing_waits"
    TOUCH_TEST = "touch_test"
    HALTED = "halted"
    CLOCK = "clock"
    NO_FORECAST = "no_forecast"
    OLD_FORECAST = "old_forecast"
    FINE = "fine"
    RAIN = "rain"
    FROST = "frost"
    DEW = "dew"
    NOT_FORECAST = "not_forecast"
    TOO_COLD = "too_cold"


@dataclass(frozen=True, slots=True)
class ForecastHour:
    """What is forecast for the hour that begins at `at`; None: the forecast does not say."""

    at: datetime
    celsius: float
    humidity_percent: float | None
    rain_chance_percent: float | None


@dataclass(frozen=True, slots=True)
class Wait:
    """Something on the car that runs; `cure` where it may go on outside, which drying may not."""

    kind: str
    cure: Cure | None
    estimate: Estimate
    progress_percent: int
    touch_test: bool
    name: str

    def runs_at(self, at: datetime) -> bool:
        """Say whether its time is not up yet; what is halted has none."""
        return self.estimate.latest_at is None or self.estimate.latest_at > at


@dataclass(frozen=True, slots=True)
class Outside:
    """From when on the car may stand outside, None where nobody can say, and why not sooner.

    `hour_at` is the beginning of the forecast hour that decides, where one does.
    """

    at: datetime | None
    code: str
    reason: str
    hour_at: datetime | None = None


@dataclass(frozen=True, slots=True)
class _ToldHour:
    """A forecast hour with what speaks against standing outside in it."""

    hour: Hour
    at: datetime
    against: Code | None


@dataclass(frozen=True, slots=True)
class _Obstacle:
    code: Code
    hour_at: datetime | None


_WORDS = {
    Code.RAIN: "Rain is likely",
    Code.FROST: "Frost is possible",
    Code.DEW: "The air is so moist that it may settle on the car",
}
_VERBS = {"cure": "cured", "drying": "dried", "flash_off": "flashed off"}
_STILL = {
    Halted.TOO_COLD: ("it is too cold", "it may get too cold"),
    Halted.TOO_DAMP: ("the air takes up too little water", "the air may take up too little water"),
}


def earliest_outside(
    waits: Sequence[Wait],
    forecast: Sequence[ForecastHour],
    *,
    at: datetime,
    forecast_issued_at: datetime | None,
) -> Outside:
    """Return the earliest safe time outside, in UTC, and what decides it.

    `waits` are the job's running clocks at `at`. With a forecast at most twelve hours old it is
    the first moment, worked out exactly, from which every cure would be done at the forecast's
    temperatures before the first hour that is not dry (a chance of rain of at most 20 %), free of
    frost, and 3 K above the dew point; up to then it goes on inside at the pace of its estimate.
    Else, and never later than this, it is when the last clock ends inside. It is None where that
    stands still, and where a touch test is due.
    """
    at = to_utc(at)
    running = [one for one in waits if one.touch_test or one.runs_at(at)]
    if not running:
        return Outside(at, Code.NOTHING_WAITS, "Nothing on the car cures or dries any more.")
    due = [one for one in running if not one.runs_at(at)]
    if due:
        text = f"Somebody has to feel whether it is dry: {_names(due)}."
        return Outside(None, Code.TOUCH_TEST, text)
    found = _doubted(running, forecast, at, forecast_issued_at) or _by_forecast(
        running, _hours(forecast, at), at
    )
    felt = [one for one in running if one.touch_test]
    if not felt or found.at is None:
        return found
    text = f"{found.reason} Before that somebody has to feel whether it is dry: {_names(felt)}."
    return replace(found, reason=text)


def _doubted(
    running: Sequence[Wait],
    forecast: Sequence[ForecastHour],
    at: datetime,
    issued_at: datetime | None,
) -> Outside | None:
    """Return the answer where the forecast decides nothing, being missing, old or not needed."""
    stays = [one for one in running if one.cure is None]
    if len(stays) == len(running) or any(one.estimate.halted for one in stays):
        return _inside(running, at, Code.CLOCK, "")
    if issued_at is None or not forecast:
        return _inside(running, at, Code.NO_FORECAST, "There is no forecast. ")
    age = minutes_between(issued_at, at) / _HOUR_MINUTES
    if age > OLDEST_FORECAST_HOURS:
        return _inside(running, at, Code.OLD_FORECAST, f"The forecast is {int(age)} hours old. ")
    return None


def _by_forecast(running: Sequence[Wait], hours: Sequence[_ToldHour], at: datetime) -> Outside:
    """Return the answer where there is a good forecast, and nothing that must stay is halted."""
    stays = [one for one in running if one.cure is None]
    free = max([at, *(end for one in stays if (end := one.estimate.latest_at))])
    left = [one for one in running if one.cure and one.runs_at(free)]
    if not left:
        return _inside(running, at, Code.CLOCK, "")
    needs = [_need(one, one.cure, at) for one in left if one.cure]
    begin = minutes_between(at, free)
    obstacle = _obstacle(needs, hours, begin)
    good = spells_of(told.hour for told in hours if told.against is None)
    found = first_fit(needs, good, begin)
    inside = _inside(running, at, obstacle.code, f"{_before(obstacle, left)}. ")
    when = None if found is None else at + timedelta(minutes=found)
    if when is None or (inside.at is not None and when >= inside.at):
        return replace(inside, hour_at=obstacle.hour_at)
    fine = f"the forecast is dry and free of frost until {_names(left)} {_have(left)} cured"
    if when > free:
        text = f"{_before(obstacle, left)}; later {fine}."
        return Outside(when, obstacle.code, text, obstacle.hour_at)
    if free > at:
        first = [one for one in stays if one.estimate.latest_at == free]
        return Outside(
            free, Code.CLOCK, f"{_names(first)} must have {_verb(first[0])}; then {fine}."
        )
    return Outside(at, Code.FINE, f"{fine[0].upper()}{fine[1:]}.")


def _before(obstacle: _Obstacle, left: Sequence[Wait]) -> str:
    if obstacle.code is Code.TOO_COLD:
        return f"It is too cold outside for {_names(left)} to cure"
    if obstacle.code is Code.NOT_FORECAST:
        return f"The forecast does not say enough for as long as {_names(left)} would cure outside"
    return f"{_WORDS[obstacle.code]} before {_names(left)} would have cured outside"


def _inside(running: Sequence[Wait], at: datetime, code: Code, before: str) -> Outside:
    """Return the end of the last clock, the car staying inside; None where one stands still."""
    still = [one for one in running if one.estimate.halted]
    if still:
        first = still[0].estimate
        certain, perhaps = _STILL[first.halted]
        why = certain if first.earliest_at is None else perhaps
        text = f"{before}Nobody can say when {_names(still)} will be done inside: {why}."
        return Outside(None, Code.HALTED, text)
    last = max(running, key=lambda one: one.estimate.latest_at or at)
    text = f"{before}{_names([last])} will have {_verb(last)} inside by then."
    return Outside(last.estimate.latest_at, code, text)


def _hours(forecast: Sequence[ForecastHour], at: datetime) -> list[_ToldHour]:
    """Return the hours in order; one ends where the next begins, after an hour at most."""
    in_order = sorted(forecast, key=lambda one: to_utc(one.at))
    starts = [minutes_between(at, one.at) for one in in_order]
    found = []
    for start, following, one in zip(starts, [*starts[1:], math.inf], in_order, strict=True):
        end = min(following, start + _HOUR_MINUTES)
        if start < end:
            found.append(_ToldHour(Hour(start, end, one.celsius), one.at, _against(one)))
    return found


def _against(hour: ForecastHour) -> Code | None:
    """Return what speaks against standing outside in this hour, None where nothing does."""
    if hour.rain_chance_percent is None or hour.humidity_percent is None:
        return Code.NOT_FORECAST
    if hour.rain_chance_percent > DRY_CHANCE_PERCENT:
        return Code.RAIN
    if frost_risk(hour.celsius, hour.humidity_percent) is not Frost.NONE:
        return Code.FROST
    if surface_margin(hour.celsius, hour.humidity_percent) < LEAST_MARGIN_KELVIN:
        return Code.DEW
    return None


def _obstacle(needs: Sequence[Need], hours: Sequence[_ToldHour], begin: float) -> _Obstacle:
    """Return what ends the good hours that begin at a minute, or is there already."""
    good: list[_ToldHour] = []
    code, hour_at, reached = Code.NOT_FORECAST, None, begin
    for told in hours:
        if told.hour.ends <= begin:
            continue
        if told.hour.starts > reached + ROUNDING_MINUTES:
            break
        if told.against is not None:
            code, hour_at = told.against, told.at
            break
        good.append(told)
        reached = told.hour.ends
    for need in needs:
        if good and not any(need.cure.rate(told.hour.celsius) for told in good):
            return _Obstacle(Code.TOO_COLD, good[0].at)
    return _Obstacle(code, hour_at)


def _need(wait: Wait, cure: Cure, at: datetime) -> Need:
    left = cure.reference_minutes * (1 - wait.progress_percent / _PERCENT)
    ends = wait.estimate.latest_at
    return Need(cure, left, None if ends is None else minutes_between(at, ends))


def _names(waits: Sequence[Wait]) -> str:
    return " and ".join(dict.fromkeys(f"“{one.name}”" for one in waits))


def _have(waits: Sequence[Wait]) -> str:
    return "has" if len({one.name for one in waits}) == 1 else "have"


def _verb(wait: Wait) -> str:
    return _VERBS.get(wait.kind, "ended")
