"""Readings of the air as one course over time: what was measured, and bounds where it was not.

Minutes count from the start of a clock. The order in which readings came in cannot matter: they
are sorted, and several at one instant are averaged by a sum that is exact.
"""

import math
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import datetime
from itertools import groupby, pairwise
from operator import itemgetter

from jobs.calc.instants import minutes_between, to_utc

# Readings further apart leave a gap, and the last one holds for as long: our own figure.
LONGEST_MINUTES = 120.0
# Differences of minutes are rounded; two hours to the microsecond are still two hours.
_ROUNDING_MINUTES = 1e-6
# How far the air may have been from the neighbouring readings in a gap: for each hour to the
# nearest, and at the most. Our own figures: halls with their doors shut change more slowly.
KELVIN_AN_HOUR = 1.0
MOST_KELVIN = 5.0
MINUTES_AN_HOUR = 60.0
# What humidity is taken to be where nobody measured it: our own figures.
DRY_PERCENT = 40.0
DAMP_PERCENT = 90.0


@dataclass(frozen=True, slots=True)
class Reading:
    """Temperature, °C, and relative humidity, %, of the workshop's air at one moment."""

    at: datetime
    celsius: float
    humidity_percent: float | None = None


@dataclass(frozen=True, slots=True)
class AirState:
    """Air of one kind: °C and % relative humidity."""

    celsius: float
    humidity_percent: float


@dataclass(frozen=True, slots=True)
class Sample:
    """What is known of the air at one minute."""

    minute: float
    celsius: float
    humidity_percent: float | None


@dataclass(frozen=True, slots=True)
class Stretch:
    """A stretch of time with what the air was at its two ends, between them linear.

    `slow` is the coldest and dampest that it may have been, `fast` the warmest and driest; where
    temperature and humidity were measured both are the same.
    """

    starts: float
    ends: float
    slow: tuple[AirState, AirState]
    fast: tuple[AirState, AirState]


def samples_of(readings: Iterable[Reading], start: datetime) -> Iterator[Sample]:
    """Return one sample an instant in order of time; humidity is the mean of those that have it."""
    timed = sorted(((to_utc(one.at), one) for one in readings), key=itemgetter(0))
    for at, group in groupby(timed, key=itemgetter(0)):
        here = [one for _, one in group]
        damp = [one.humidity_percent for one in here if one.humidity_percent is not None]
        humidity = _mean(damp) if damp else None
        yield Sample(minutes_between(start, at), _mean([one.celsius for one in here]), humidity)


def course_of(readings: Iterable[Reading], start: datetime, until: float) -> Iterator[Stretch]:
    """Return the course from minute 0 to `until` or later; nothing where no reading is usable.

    Usable are those from two hours before the start on. Between two at most two hours apart the
    air changes linearly, and the last one holds for two hours. Elsewhere the temperature lies
    within 1 K of the neighbours (of the only one before the first and after the last) for each
    hour begun to the nearest of them, 5 K at the most, and humidity within 40 to 90 % or the
    neighbours' where those lie outside. Stretches may lie before
    minute 0. A long course costs only as much of it as is looked at.
    """
    known: Sample | None = None
    for one in samples_of(readings, start):
        if known is None and one.minute > 0:
            yield from _gap(0.0, one.minute, (one,))
        elif known is not None:
            yield from _between(known, one)
        if one.minute >= -LONGEST_MINUTES:
            known = one
    if known is None:
        return
    held = known.minute + LONGEST_MINUTES
    yield _measured(known.minute, held, known, known)
    if held < until:
        yield from _gap(held, until, (known,))


def _between(one: Sample, other: Sample) -> Iterator[Stretch]:
    if other.minute - one.minute > LONGEST_MINUTES + _ROUNDING_MINUTES:
        yield from _gap(one.minute, other.minute, (one, other))
    else:
        yield _measured(one.minute, other.minute, one, other)


def _measured(starts: float, ends: float, one: Sample, other: Sample) -> Stretch:
    return Stretch(
        starts,
        ends,
        (_air(one, DAMP_PERCENT), _air(other, DAMP_PERCENT)),
        (_air(one, DRY_PERCENT), _air(other, DRY_PERCENT)),
    )


def _air(sample: Sample, otherwise: float) -> AirState:
    humidity = sample.humidity_percent
    return AirState(sample.celsius, otherwise if humidity is None else humidity)


def _gap(starts: float, ends: float, neighbours: tuple[Sample, ...]) -> Iterator[Stretch]:
    """Yield a gap by the hours to the nearest neighbour, beyond the last step as one."""
    celsius = [one.celsius for one in neighbours]
    damp = [one.humidity_percent for one in neighbours if one.humidity_percent is not None]
    dampest, driest = max([DAMP_PERCENT, *damp]), min([DRY_PERCENT, *damp])
    for one, other in pairwise(_steps(starts, ends, neighbours)):
        middle = (one + other) / 2
        nearest = min(abs(middle - neighbour.minute) for neighbour in neighbours)
        hours = math.ceil(nearest / MINUTES_AN_HOUR)
        room = min(MOST_KELVIN, KELVIN_AN_HOUR * hours)
        slow = AirState(min(celsius) - room, dampest)
        fast = AirState(max(celsius) + room, driest)
        yield Stretch(one, other, (slow, slow), (fast, fast))


def _steps(starts: float, ends: float, neighbours: tuple[Sample, ...]) -> list[float]:
    """Return the minutes at which a gap is cut: its ends, its middle, and whole hours between."""
    hours = range(1, math.ceil(MOST_KELVIN / KELVIN_AN_HOUR))
    cuts = {(neighbours[0].minute + neighbours[-1].minute) / 2}
    for neighbour in neighbours:
        for hour in hours:
            cuts |= {neighbour.minute + way * hour * MINUTES_AN_HOUR for way in (-1, 1)}
    return sorted({starts, ends} | {one for one in cuts if starts < one < ends})


def _mean(values: list[float]) -> float:
    return math.fsum(values) / len(values)
