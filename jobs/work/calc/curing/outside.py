"""The earliest time at which a car may safely stand outside, by its clocks and the forecast.

What cures may cure on outside while it is dry, free of frost and clear of the dew point until it
is done; what dries stays inside until it is dry. A forecast gives a chance of rain for each hour,
and of the whole spell only that it is no more than all of them added up: that sum counts. The
reasons hold no times of day: a caller says those, from `at` and `hour_at`, in the workshop's clock.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from enum import StrEnum

from jobs.work.calc.air.climate import (
    LEAST_MARGIN_KELVIN,
    SKY_COOLS_KELVIN,
    Frost,
    frost_risk,
    surface_margin,
)
from jobs.work.calc.air.forecasts import OLDEST_FORECAST_HOURS, ForecastHour
from jobs.work.calc.curing.cure import Cure, Estimate, Halted
from jobs.work.calc.curing.forecast_fit import (
    ROUNDING_MINUTES,
    Fit,
    Hour,
    Need,
    dry_hours,
    first_fit,
    spells_of,
)
from jobs.work.calc.instants import minutes_between, to_utc

# At most this chance of rain, of the whole time until it is cured, counts as dry: our own figure.
DRY_CHANCE_PERCENT = 20.0
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
class RunningClock:
    """Something on the car that runs; `cure` where it may go on outside, which drying may not."""

    kind: str
    cure: Cure | None
    estimate: Estimate
    progress_percent: int
    touch_test: bool
    name: str

    def runs_at(self, at: datetime) -> bool:
        """Return whether its time is not up yet; what is halted has none.

        Raises TypeError for a time without a time zone.
        """
        return self.estimate.latest_at is None or self.estimate.latest_at > at


@dataclass(frozen=True, slots=True)
class Outside:
    """From when on the car may stand outside, None where nobody can say, and why not sooner.

    `hour_at` is the beginning of the forecast hour that decides, where one does. Until
    `keep_dry_until` rain or frost spoils what cures inside, None where nobody can say; until
    `cured_outside_at` it does outside, where the car goes out at `at`, with a chance of `rain`.
    """

    at: datetime | None
    code: str
    reason: str
    hour_at: datetime | None = None
    keep_dry_until: datetime | None = None
    cured_outside_at: datetime | None = None
    rain: Fit | None = None


@dataclass(frozen=True, slots=True)
class _ToldHour:
    """A forecast hour with what speaks against standing outside in it."""

    hour: Hour
    at: datetime
    against: Code | None


@dataclass(frozen=True, slots=True)
class _Obstacle:
    """What ends the good hours; `adds_up`: no hour alone has too much rain, all of them may."""

    code: Code
    hour_at: datetime | None
    adds_up: bool = False


_WORDS = {
    Code.RAIN: f"The chance of rain is more than {DRY_CHANCE_PERCENT:g} %",
    Code.FROST: "Frost is possible",
    Code.DEW: "The air is so moist that it may settle on the car",
}
_VERBS = {"cure": "cured", "drying": "dried", "flash_off": "flashed off"}
_STILL = {
    Halted.TOO_COLD: ("it is too cold", "it may get too cold"),
    Halted.TOO_DAMP: ("the air takes up too little water", "the air may take up too little water"),
}


def earliest_outside(
    waits: Sequence[RunningClock],
    forecast: Sequence[ForecastHour],
    *,
    at: datetime,
    forecast_issued_at: datetime | None,
) -> Outside:
    """Return the earliest safe time outside, in UTC, and what decides it.

    `waits` are the job's running clocks at `at`. With a forecast at most twelve hours old it is
    the first moment, worked out exactly, from which every cure would be done at the forecast's
    temperatures in hours free of frost, in which a car under a clear sky lies 3 K above the dew
    point, and whose chances of rain add up to at most 20 %; up to then it goes on inside at the
    pace of its estimate. Else, and never later than this, it is when the last clock ends inside. It
    is None where that stands still, and where a touch test is due. Raises ValueError for a time
    without a time zone.
    """
    at = to_utc(at)
    running = [wait for wait in waits if wait.touch_test or wait.runs_at(at)]
    if not running:
        return Outside(at, Code.NOTHING_WAITS, "Nothing on the car cures or dries any more.")
    due = [wait for wait in running if not wait.runs_at(at)]
    if due:
        text = f"Somebody has to feel whether it is dry: {_names(due)}."
        return Outside(None, Code.TOUCH_TEST, text)
    found = _doubted(running, forecast, at, forecast_issued_at) or _by_forecast(
        running, _hours(forecast, at), at
    )
    found = replace(found, keep_dry_until=_inside(running, at, Code.CLOCK, "").at)
    felt = [wait for wait in running if wait.touch_test]
    if not felt or found.at is None:
        return found
    text = f"{found.reason} Before that somebody has to feel whether it is dry: {_names(felt)}."
    return replace(found, reason=text)


def _doubted(
    running: Sequence[RunningClock],
    forecast: Sequence[ForecastHour],
    at: datetime,
    issued_at: datetime | None,
) -> Outside | None:
    """Return the answer where the forecast decides nothing, being missing, old or not needed."""
    stays = [wait for wait in running if wait.cure is None]
    if len(stays) == len(running) or any(stay.estimate.halted for stay in stays):
        return _inside(running, at, Code.CLOCK, "")
    if issued_at is None or not forecast:
        return _inside(running, at, Code.NO_FORECAST, "There is no forecast. ")
    age = minutes_between(issued_at, at) / _HOUR_MINUTES
    if age > OLDEST_FORECAST_HOURS:
        return _inside(running, at, Code.OLD_FORECAST, f"The forecast is {int(age)} hours old. ")
    return None


def _by_forecast(
    running: Sequence[RunningClock], hours: Sequence[_ToldHour], at: datetime
) -> Outside:
    """Return the answer where there is a good forecast, and nothing that must stay is halted."""
    stays = [wait for wait in running if wait.cure is None]
    free = max([at, *(end for stay in stays if (end := stay.estimate.latest_at))])
    left = [wait for wait in running if wait.cure and wait.runs_at(free)]
    if not left:
        return _inside(running, at, Code.CLOCK, "")
    needs = [_need(wait, wait.cure, at) for wait in left if wait.cure]
    begin = minutes_between(at, free)
    obstacle = _obstacle(needs, hours, begin)
    good = spells_of(foretold.hour for foretold in hours if foretold.against is None)
    found = first_fit(needs, good, begin, most_rain_percent=DRY_CHANCE_PERCENT)
    inside = _inside(running, at, obstacle.code, f"{_before(obstacle, left)}. ")
    if found is None:
        return replace(inside, hour_at=obstacle.hour_at)
    when = at + timedelta(minutes=found.begins)
    if inside.at is not None and when >= inside.at:
        return replace(inside, hour_at=obstacle.hour_at)
    fine = _fine(found, left)
    answer = Outside(
        max(when, free),
        Code.FINE,
        f"{fine[0].upper()}{fine[1:]}.",
        cured_outside_at=at + timedelta(minutes=found.ends),
        rain=found,
    )
    if when > free:
        text = f"{_before(obstacle, left)}; later {fine}."
        return replace(answer, code=obstacle.code, reason=text, hour_at=obstacle.hour_at)
    if free > at:
        first = [stay for stay in stays if stay.estimate.latest_at == free]
        text = f"{_names(first)} must have {_verb(first[0])}; then {fine}."
        return replace(answer, code=Code.CLOCK, reason=text)
    return answer


def _fine(found: Fit, left: Sequence[RunningClock]) -> str:
    """Return what is known of the weather until all has cured outside, and no more than that."""
    worst, least, most = (
        f"{round(percent, 1):g}"
        for percent in (found.worst_hour_percent, found.least_percent, found.most_percent)
    )
    rain = f"at most {worst} %" if found.most_percent else "0 %"
    if most != worst:
        whole = f"{least} to {most}" if found.least_percent else f"at most {most}"
        rain += f" in any hour and {whole} % in all"
    until = f"until {_names(left)} {_have(left)} cured outside"
    return f"the chance of rain {until} is {rain}, with neither frost nor dew in the forecast"


def _before(obstacle: _Obstacle, left: Sequence[RunningClock]) -> str:
    if obstacle.code is Code.TOO_COLD:
        return f"It is too cold outside for {_names(left)} to cure"
    if obstacle.code is Code.NOT_FORECAST:
        return f"The forecast does not say enough for as long as {_names(left)} would cure outside"
    words = _WORDS[obstacle.code]
    if obstacle.adds_up:
        words = f"The chances of rain add up to more than {DRY_CHANCE_PERCENT:g} %"
    return f"{words} before {_names(left)} would have cured outside"


def _inside(running: Sequence[RunningClock], at: datetime, code: Code, before: str) -> Outside:
    """Return the end of the last clock, the car staying inside; None where one stands still."""
    still = [wait for wait in running if wait.estimate.halted]
    if still:
        first = still[0].estimate
        certain, perhaps = _STILL[first.halted]
        why = certain if first.earliest_at is None else perhaps
        text = f"{before}Nobody can say when {_names(still)} will be done inside: {why}."
        return Outside(None, Code.HALTED, text)
    last = max(running, key=lambda wait: wait.estimate.latest_at or at)
    text = f"{before}{_names([last])} will have {_verb(last)} inside by then."
    return Outside(last.estimate.latest_at, code, text)


def _hours(forecast: Sequence[ForecastHour], at: datetime) -> list[_ToldHour]:
    """Return the hours in order; one ends where the next begins, after an hour at most."""
    in_order = sorted(forecast, key=lambda hour: to_utc(hour.at))
    starts = [minutes_between(at, hour.at) for hour in in_order]
    found = []
    for start, following, foretold in zip(starts, [*starts[1:], math.inf], in_order, strict=True):
        end = min(following, start + _HOUR_MINUTES)
        if start < end:
            hour = Hour(start, end, foretold.celsius, foretold.rain_chance_percent or 0.0)
            found.append(_ToldHour(hour, foretold.at, _against(foretold)))
    return found


def _against(hour: ForecastHour) -> Code | None:
    """Return what speaks against standing outside in this hour, None where nothing does."""
    if hour.rain_chance_percent is None or hour.humidity_percent is None:
        return Code.NOT_FORECAST
    if hour.rain_chance_percent > DRY_CHANCE_PERCENT:
        return Code.RAIN
    if frost_risk(hour.celsius, hour.humidity_percent) is not Frost.NONE:
        return Code.FROST
    car = hour.celsius - SKY_COOLS_KELVIN
    if surface_margin(hour.celsius, hour.humidity_percent, car) < LEAST_MARGIN_KELVIN:
        return Code.DEW
    return None


def _obstacle(needs: Sequence[Need], hours: Sequence[_ToldHour], begin: float) -> _Obstacle:
    """Return what ends the good hours that begin at a minute, or is there already."""
    good: list[_ToldHour] = []
    code, hour_at, reached, adds_up = Code.NOT_FORECAST, None, begin, False
    for foretold in hours:
        if foretold.hour.ends <= begin:
            continue
        if foretold.hour.starts > reached + ROUNDING_MINUTES:
            break
        if foretold.against is not None:
            code, hour_at = foretold.against, foretold.at
            break
        good.append(foretold)
        if len(dry_hours([fine.hour for fine in good], DRY_CHANCE_PERCENT)) < len(good):
            code, hour_at, adds_up = Code.RAIN, foretold.at, True
            break
        reached = foretold.hour.ends
    for need in needs:
        if good and not any(need.cure.rate(foretold.hour.celsius) for foretold in good):
            return _Obstacle(Code.TOO_COLD, good[0].at)
    return _Obstacle(code, hour_at, adds_up)


def _need(wait: RunningClock, cure: Cure, at: datetime) -> Need:
    left = cure.reference_minutes * (1 - wait.progress_percent / _PERCENT)
    ends = wait.estimate.latest_at
    return Need(cure, left, None if ends is None else minutes_between(at, ends))


def _names(waits: Sequence[RunningClock]) -> str:
    return " and ".join(dict.fromkeys(f"“{wait.name}”" for wait in waits))


def _have(waits: Sequence[RunningClock]) -> str:
    return "has" if len({wait.name for wait in waits}) == 1 else "have"


def _verb(wait: RunningClock) -> str:
    return _VERBS.get(wait.kind, "ended")
