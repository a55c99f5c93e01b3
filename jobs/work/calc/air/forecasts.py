"""Whether a document is a forecast: every hour plausible, in order and without holes.

It is looked at in the same way whether somebody sends it or it was fetched from a URL.
"""

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Any

from jobs.work.calc.instants import to_utc

MOST_HOURS = 400
# Each entry speaks for one hour; who has steps of three fills the hours between, and knows how.
HOUR = timedelta(hours=1)
OLDEST_ISSUE = timedelta(days=7)
FURTHEST = timedelta(days=30)
# An older one says nothing of today's weather: our own figure.
OLDEST_FORECAST_HOURS = 12.0
CLOCK_DRIFT = timedelta(minutes=2)
LOWEST_CELSIUS, HIGHEST_CELSIUS = -40.0, 60.0
RANGES: dict[str, tuple[float, float, str]] = {
    "celsius": (LOWEST_CELSIUS, HIGHEST_CELSIUS, "°C"),
    "humidity_percent": (0.0, 100.0, "%"),
    "rain_chance_percent": (0.0, 100.0, "%"),
}
MAY_BE_MISSING = ("humidity_percent", "rain_chance_percent")
HOUR_FIELDS = ("at", *RANGES)
FORECAST_FIELDS = ("issued_at", "hours")
ZONED = "Give a date, a time and its zone, as in 2027-03-01T09:00:00Z."


@dataclass(frozen=True, slots=True)
class ForecastHour:
    """What is forecast for the hour that begins at `at`; None: the forecast does not say."""

    at: datetime
    celsius: float
    humidity_percent: float | None
    rain_chance_percent: float | None


@dataclass(frozen=True, slots=True)
class Wrong:
    """A field that is not right: its place with dots and indices, a code and a sentence."""

    field: str
    code: str
    message: str


@dataclass(frozen=True, slots=True)
class ForecastRead:
    """What a document says; where anything is wrong with it, no hours."""

    issued_at: datetime
    hours: tuple[ForecastHour, ...]
    wrong: tuple[Wrong, ...] = ()


def read_forecast(document: Any, *, at: datetime) -> ForecastRead:
    """Read a forecast as it came, looked at as of a time; all that is wrong is named at once.

    Raises ValueError where `at` has no time zone; an hour without one is among what is wrong.
    """
    at = to_utc(at)
    if not isinstance(document, Mapping):
        message = "A forecast is an object with `hours`, and `issued_at` where it is known."
        return ForecastRead(at, (), (Wrong("", "not_a_forecast", message),))
    wrong = list(_unknown(document, FORECAST_FIELDS, ""))
    issued_at = _issued(document, at, wrong)
    hours = _hours(document.get("hours"), wrong)
    if not wrong:
        wrong += list(_order(hours)) or list(_horizon(hours, at))
    return ForecastRead(issued_at, () if wrong else tuple(hours), tuple(wrong))


def _issued(document: Mapping[Any, Any], at: datetime, wrong: list[Wrong]) -> datetime:
    issued = document.get("issued_at")
    if issued is None:
        return at
    instant = _instant(issued)
    if instant is None:
        wrong.append(Wrong("issued_at", "invalid", ZONED))
        return at
    if instant > at + CLOCK_DRIFT:
        wrong.append(Wrong("issued_at", "to_come", "This time is still to come."))
    elif instant < at - OLDEST_ISSUE:
        message = f"It was issued more than {OLDEST_ISSUE.days} days ago: it says nothing of now."
        wrong.append(Wrong("issued_at", "long_past", message))
    return instant


def _hours(sent: Any, wrong: list[Wrong]) -> list[ForecastHour]:
    if not isinstance(sent, list) or not 1 <= len(sent) <= MOST_HOURS:
        message = f"Give a list of 1 to {MOST_HOURS} hours."
        wrong.append(Wrong("hours", "required" if sent is None else "invalid", message))
        return []
    hours = []
    for index, hour in enumerate(sent):
        place = f"hours.{index}"
        if not isinstance(hour, Mapping):
            message = f"An hour is an object with {', '.join(HOUR_FIELDS)}."
            wrong.append(Wrong(place, "invalid", message))
            continue
        faults = list(_unknown(hour, HOUR_FIELDS, f"{place}."))
        at = _instant(hour.get("at"))
        if at is None:
            faults.append(Wrong(f"{place}.at", "invalid", ZONED))
        figures = {name: _figure(hour.get(name), name, place, faults) for name in RANGES}
        celsius = figures["celsius"]
        wrong += faults
        if at is not None and celsius is not None:
            hours.append(
                ForecastHour(
                    at, celsius, figures["humidity_percent"], figures["rain_chance_percent"]
                )
            )
    return hours


def _figure(value: Any, name: str, place: str, wrong: list[Wrong]) -> float | None:
    low, high, unit = RANGES[name]
    if value is None and name in MAY_BE_MISSING:
        return None
    if isinstance(value, bool) or not isinstance(value, (int, float)) or not math.isfinite(value):
        code = "required" if value is None else "invalid"
        wrong.append(Wrong(f"{place}.{name}", code, f"Give a number in {unit}."))
        return None
    if not low <= value <= high:
        message = f"{value:.10g} {unit} is not plausible: {low:g} to {high:g} {unit} is."
        wrong.append(Wrong(f"{place}.{name}", "range", message))
        return None
    return float(value)


def _order(hours: list[ForecastHour]) -> Iterator[Wrong]:
    for index in range(1, len(hours)):
        place = f"hours.{index}.at"
        step = hours[index].at - hours[index - 1].at
        if step <= timedelta(0):
            message = "The hours must rise: this one is not after the one before it."
            yield Wrong(place, "not_rising", message)
        elif step > HOUR:
            message = "Hours are missing between the one before and this one: give every hour."
            yield Wrong(place, "missing", message)


def _horizon(hours: list[ForecastHour], at: datetime) -> Iterator[Wrong]:
    if hours[-1].at + HOUR <= at:
        message = "The forecast ends before now: it says nothing of what is to come."
        yield Wrong(f"hours.{len(hours) - 1}.at", "long_past", message)
    elif hours[-1].at > at + FURTHEST:
        message = f"Nobody can foretell the weather {FURTHEST.days} days ahead."
        yield Wrong(f"hours.{len(hours) - 1}.at", "to_come", message)


def _unknown(fields: Mapping[Any, Any], known: tuple[str, ...], place: str) -> Iterator[Wrong]:
    for name in fields:
        if name not in known:
            message = f"There is no such field. Known fields: {', '.join(known)}."
            yield Wrong(f"{place}{name}", "unknown", message)


def _instant(value: Any) -> datetime | None:
    """Return an RFC 3339 instant in UTC, or None for anything else."""
    if not isinstance(value, str) or "T" not in value.upper():
        return None
    try:
        instant = datetime.fromisoformat(value)
        return instant.astimezone(UTC) if instant.tzinfo is not None else None
    except (ValueError, OverflowError):
        return None
