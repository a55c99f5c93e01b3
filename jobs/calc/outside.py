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
from itertools import pairwise

from jobs.calc.air_series import minutes_between, to_utc
from jobs.calc.climate import LEAST_MARGIN_KELVIN, Frost, frost_risk, surface_margin
from jobs.calc.cure import Cure, Estimate, Halted

# At most this chance of rain counts as dry, and a forecast older than this says nothing of today's
# weather: our own figures.
DRY_CHANCE_PERCENT = 20.0
OLDEST_FORECAST_HOURS = 12.0
_HOUR_MINUTES = 60.0
_PERCENT = 100.0
# Rounding alone shall not make a minute too few of an hour that just suffices.
_ROUNDING_MINUTES = 1e-6


class Code(StrEnum):
    """What decides when a car may go outside."""

    NOTHING_WAITS = "nothing_waits"
    TOUCH_TEST = "touch_test"
    HALTED = "halted"
    DRYING = "drying"
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
class _Hour:
    """A forecast hour in minutes from now, with what speaks against standing outside in it."""

    starts: float
    ends: float
    at: datetime
    celsius: float
    against: Code | None


@dataclass(frozen=True, slots=True)
class _Obstacle:
    code: Code
    hour_at: datetime | None


_WORDS = {
    Code.RAIN: "Rain is likely",
    Code.FROST: "Frost is possible",
    Code.DEW: "The air is so moist that it may settle on the car",
    Code.NOT_FORECAST: "The forecast does not say enough",
    Code.TOO_COLD: "It is too cold to cure outside",
}
_VERBS = {"cure": "cured", "drying": "dried", "flash_off": "flashed off"}
_STILL = {
    Halted.TOO_COLD: "it is too cold",
    Halted.TOO_DAMP: "the air takes up too little water",
}


def earliest_outside(
    waits: Sequence[Wait],
    forecast: Sequence[ForecastHour],
    *,
    at: datetime,
    forecast_issued_at: datetime | None,
) -> Outside:
    """Return the earliest safe time outside, and what decides it.

    `waits` are the job's running clocks at `at`. With a forecast at most twelve hours old it is
    the first moment, worked out exactly, from which every cure would be done at the forecast's
    temperatures before the first hour that is not dry (a chance of rain of at most 20 %), free of
    frost, and 3 K above the dew point; up to then it goes on inside at the pace of its estimate.
    Else, and never later than this, it is when the last clock ends inside. It is None where that
    stands still, and where a touch test is due.
    """
    running = [one for one in waits if one.touch_test or one.estimate.latest_at > at]
    if not running:
        return Outside(at, Code.NOTHING_WAITS, "Nothing on the car cures or dries any more.")
    due = [one for one in running if one.touch_test and one.estimate.latest_at <= at]
    if due:
        text = f"{_names(due)} may be dry: somebody has to feel it before the car goes outside."
        return Outside(None, Code.TOUCH_TEST, text)
    staying = [one for one in running if one.cure is None]
    curing = [one for one in running if one.cure is not None]
    if any(one.estimate.halted for one in staying) or not curing:
        return _felt(_inside(running, Code.DRYING, ""), running)
    if forecast_issued_at is None or not forecast:
        return _felt(_inside(running, Code.NO_FORECAST, "There is no forecast. "), running)
    age = int(minutes_between(forecast_issued_at, at) // _HOUR_MINUTES)
    if minutes_between(forecast_issued_at, at) > OLDEST_FORECAST_HOURS * _HOUR_MINUTES:
        text = f"The forecast is {age} hours old. "
        return _felt(_inside(running, Code.OLD_FORECAST, text), running)
    return _felt(_by_forecast(staying, curing, _hours(forecast, at), at), running)


def _by_forecast(
    staying: Sequence[Wait], curing: Sequence[Wait], hours: Sequence[_Hour], at: datetime
) -> Outside:
    """Return the answer where there is a good forecast; nothing that stays inside is halted."""
    running = [*staying, *curing]
    free = max([at, *(one.estimate.latest_at for one in staying)])
    begin = minutes_between(at, free)
    left = [one for one in curing if one.estimate.halted or one.estimate.latest_at > free]
    if not left:
        return _inside(running, Code.DRYING, "")
    obstacle = _obstacle(left, hours, begin)
    found = _first_fit(left, hours, begin, at)
    before = f"{_WORDS[obstacle.code]} before {_names(left)} would have cured outside"
    inside = _inside(running, obstacle.code, f"{before}. ")
    if found is None or (inside.at is not None and at + timedelta(minutes=found) >= inside.at):
        return replace(inside, hour_at=obstacle.hour_at)
    stays = (
        f"by the forecast it stays dry and free of frost until {_names(left)} {_has(left)} cured"
    )
    if found > begin:
        text = f"{before}; later {stays}."
        when = at + timedelta(minutes=found)
        return Outside(when, obstacle.code, text, obstacle.hour_at)
    if free > at:
        first = [one for one in staying if one.estimate.latest_at == free]
        text = (
            f"{_names(first)} has to have {_VERBS.get(first[0].kind, 'ended')} first; then {stays}."
        )
        return Outside(free, Code.DRYING, text)
    return Outside(at, Code.FINE, f"{stays[0].upper()}{stays[1:]}.")


def _inside(running: Sequence[Wait], code: Code, before: str) -> Outside:
    """Return the end of the last clock, the car staying inside; None where one stands still."""
    still = [one for one in running if one.estimate.halted]
    if still:
        text = f"{before}{_names(still)} {'stands' if _one(still) else 'stand'} still: {_STILL[still[0].estimate.halted]}."
        return Outside(None, Code.HALTED, text)
    last = max(running, key=lambda one: one.estimate.latest_at)
    text = f"{before}{last.name} has {_VERBS.get(last.kind, 'ended')} inside by then."
    return Outside(last.estimate.latest_at, code, text)


def _felt(outside: Outside, running: Sequence[Wait]) -> Outside:
    """Add that somebody has to feel what dries, where the car goes outside after that."""
    felt = [one for one in running if one.touch_test]
    if not felt or outside.at is None:
        return outside
    text = f"{outside.reason} Before that somebody has to feel whether it is dry: {_names(felt)}."
    return replace(outside, reason=text)


def _hours(forecast: Sequence[ForecastHour], at: datetime) -> list[_Hour]:
    """Return the hours to come in order; one ends where the next begins, after an hour at most."""
    in_order = sorted(forecast, key=lambda one: to_utc(one.at))
    starts = [minutes_between(at, one.at) for one in in_order]
    ends = [*starts[1:], math.inf]
    return [
        _Hour(start, min(end, start + _HOUR_MINUTES), one.at, one.celsius, _against(one))
        for start, end, one in zip(starts, ends, in_order, strict=True)
        if start < end and start + _HOUR_MINUTES > 0
    ]


def _against(hour: ForecastHour) -> Code | None:
    if hour.rain_chance_percent is None or hour.humidity_percent is None:
        return Code.NOT_FORECAST
    if hour.rain_chance_percent > DRY_CHANCE_PERCENT:
        return Code.RAIN
    if frost_risk(hour.celsius, hour.humidity_percent) is not Frost.NONE:
        return Code.FROST
    if surface_margin(hour.celsius, hour.humidity_percent) < LEAST_MARGIN_KELVIN:
        return Code.DEW
    return None


def _runs(hours: Sequence[_Hour]) -> list[list[_Hour]]:
    """Return the unbroken runs of hours that nothing speaks against."""
    runs: list[list[_Hour]] = []
    for hour in hours:
        if hour.against is not None:
            continue
        if runs and hour.starts - runs[-1][-1].ends <= _ROUNDING_MINUTES:
            runs[-1].append(hour)
        else:
            runs.append([hour])
    return runs


def _first_fit(
    left: Sequence[Wait], hours: Sequence[_Hour], begin: float, at: datetime
) -> float | None:
    """Return the first minute from which all would be done within one run of good hours.

    What a cure still needs and what the rest of a run gives it are both linear between the hours'
    ends and the clocks' ends, so the first minute at which it suffices is found exactly.
    """
    ends = [minutes_between(at, one.estimate.latest_at) for one in left]
    for run in _runs(hours):
        start, end = max(run[0].starts, begin), run[-1].ends
        marks = {start, end, *(hour.starts for hour in run), *ends}
        within = sorted(mark for mark in marks if start <= mark <= end)
        for one, other in pairwise(within):
            found = _suffices(left, run, (one, other), at)
            if found is not None:
                return found
    return None


def _suffices(
    left: Sequence[Wait], run: Sequence[_Hour], span: tuple[float, float], at: datetime
) -> float | None:
    """Return the first minute of the span from which the run suffices for all, all being linear."""
    low, high = span
    for wait in left:
        short, then = (_short(wait, run, minute, at) for minute in span)
        if short > _ROUNDING_MINUTES and then > _ROUNDING_MINUTES:
            return None
        crossing = span[0] + (span[1] - span[0]) * short / (short - then) if short != then else 0
        if short > _ROUNDING_MINUTES:
            low = max(low, crossing)
        elif then > _ROUNDING_MINUTES:
            high = min(high, crossing)
    return low if low <= high + _ROUNDING_MINUTES else None


def _short(wait: Wait, run: Sequence[_Hour], minute: float, at: datetime) -> float:
    """Return the minutes at the reference that the rest of a run falls short by, from a minute."""
    cure = wait.cure
    if cure is None:
        raise ValueError("What does not cure stays inside.")
    done = wait.progress_percent / _PERCENT
    whole = minutes_between(at, wait.estimate.latest_at)
    if not wait.estimate.halted:
        done += (1 - done) * min(minute / whole, 1.0)
    given = sum(
        cure.rate(hour.celsius) * max(hour.ends - max(hour.starts, minute), 0.0) for hour in run
    )
    return cure.reference_minutes * (1 - done) - given


def _obstacle(left: Sequence[Wait], hours: Sequence[_Hour], begin: float) -> _Obstacle:
    """Return what ends the good hours that begin now, or is there already."""
    good: list[_Hour] = []
    reached = begin
    for hour in hours:
        if hour.ends <= begin:
            continue
        if hour.starts > reached + _ROUNDING_MINUTES:
            break
        if hour.against is not None:
            return _too_cold(left, good) or _Obstacle(hour.against, hour.at)
        good.append(hour)
        reached = hour.ends
    return _too_cold(left, good) or _Obstacle(Code.NOT_FORECAST, None)


def _too_cold(left: Sequence[Wait], good: Sequence[_Hour]) -> _Obstacle | None:
    for wait in left:
        if good and wait.cure and not any(wait.cure.rate(hour.celsius) for hour in good):
            return _Obstacle(Code.TOO_COLD, good[0].at)
    return None


def _has(waits: Sequence[Wait]) -> str:
    return "has" if _one(waits) else "have"


def _one(waits: Sequence[Wait]) -> bool:
    return len({one.name for one in waits}) == 1


def _names(waits: Sequence[Wait]) -> str:
    return " and ".join(dict.fromkeys(one.name for one in waits))
