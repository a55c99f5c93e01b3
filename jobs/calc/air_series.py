"""Readings of the air as one course over time: what was measured, and bounds where it was not.

Minutes count from the start of a clock. The order in which readings came in cannot matter: they
are sorted, and several at one instant are averaged by a sum that is exact.

Where nobody measured, the air lies between what is assumed of a workshop and the readings beside
that time, whichever are further out: cold that was measured stays cold until somebody measures
again. So a reading that lies within the bounds of its time never widens them, at no time.
"""

import math
from bisect import bisect_left, bisect_right
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from itertools import groupby, pairwise
from operator import attrgetter, itemgetter

from jobs.calc.instants import minutes_between, to_utc

# Readings further apart leave a gap, and each holds for as long: our own figure.
LONGEST_MINUTES = 120.0
# Differences of minutes are rounded; two hours to the microsecond are still two hours.
_LONGEST = LONGEST_MINUTES + 1e-6
# A reading older than this at a clock's start says nothing of its time: our own figure.
OLDEST_MINUTES = 7 * 24 * 60.0


@dataclass(frozen=True, slots=True)
class Reading:
    """Temperature, °C, and relative humidity, %, of the workshop's air at one moment.

    `doubtful`: a sensor that repeats itself said it. It then counts as not measured, but where it
    is colder or damper than what is assumed, the bounds reach as far.
    """

    at: datetime
    celsius: float
    humidity_percent: float | None = None
    doubtful: bool = False


@dataclass(frozen=True, slots=True)
class AirState:
    """Air of one kind: °C and % relative humidity."""

    celsius: float
    humidity_percent: float


# The workshop where nobody measures, at its coldest and its warmest: our own figures.
ASSUMED_SLOW, ASSUMED_FAST = AirState(15.0, 60.0), AirState(20.0, 60.0)


@dataclass(frozen=True, slots=True)
class Sample:
    """What is known of the air at one minute."""

    minute: float
    celsius: float
    humidity_percent: float | None
    doubtful: bool = False


@dataclass(frozen=True, slots=True)
class Point:
    """The slowest and the fastest air that one minute may have had; one where all was measured."""

    minute: float
    slow: AirState
    fast: AirState


@dataclass(frozen=True, slots=True)
class Stretch:
    """A stretch of time with what the air was at its two ends, between them linear.

    `slow` is the coldest and dampest that it may have been, `fast` the warmest and driest; where
    temperature and humidity were measured both are the same. `known`: a reading bears on it.
    """

    starts: float
    ends: float
    slow: tuple[AirState, AirState]
    fast: tuple[AirState, AirState]
    measured: bool = False
    known: bool = True


def samples_of(readings: Iterable[Reading], start: datetime) -> Iterator[Sample]:
    """Return one sample an instant in order of time; humidity is the mean of those that have it.

    Doubtful readings count only at an instant that has no others. Raises ValueError, when the first
    is asked for, for a time without a time zone.
    """
    timed = sorted(((to_utc(reading.at), reading) for reading in readings), key=itemgetter(0))
    for at, group in groupby(timed, key=itemgetter(0)):
        here = [reading for _, reading in group]
        sure = [reading for reading in here if not reading.doubtful]
        counted = sure or here
        damp = [
            reading.humidity_percent for reading in counted if reading.humidity_percent is not None
        ]
        yield Sample(
            minutes_between(start, at),
            _mean([reading.celsius for reading in counted]),
            _mean(damp) if damp else None,
            doubtful=not sure,
        )


def course_of(readings: Iterable[Reading], start: datetime, ahead: float) -> Iterator[Stretch]:
    """Return the course from minute 0 on to `ahead` minutes after the last reading.

    Between two readings at most two hours apart the air changes linearly, and each holds for two
    hours. Elsewhere it lies within 15 to 20 °C and 60 %, or as far out as the readings that the
    gap lies between and the doubtful ones in it. Readings of more than seven days before the start
    do not count. Stretches may lie before minute 0. Nothing is worked out before it is asked for.
    Raises ValueError, then, for a time without a time zone.
    """
    samples = _counted(list(samples_of(readings, start)))
    sure = _points([sample for sample in samples if not sample.doubtful])
    doubtful = [_doubted(sample) for sample in samples if sample.doubtful]
    if not sure:
        yield _gap(0.0, max([0.0, *(point.minute for point in doubtful)]) + ahead, doubtful)
        return
    if sure[0].minute > 0:
        yield _gap(0.0, sure[0].minute, [*_within(doubtful, -math.inf, sure[0].minute), sure[0]])
    for point, following in pairwise(sure):
        yield from _between(point, following, doubtful)
    last = sure[-1]
    held = last.minute + LONGEST_MINUTES
    yield _measured(last, replace(last, minute=held))
    after = _within(doubtful, last.minute, math.inf)
    until = max([held, 0.0, *(point.minute for point in after)]) + ahead
    yield _gap(held, until, [last, *after])


def _counted(samples: Sequence[Sample]) -> Sequence[Sample]:
    """Return the last sure sample before the start, and whatever came after it."""
    samples = [sample for sample in samples if sample.minute >= -OLDEST_MINUTES]
    early = [index for index, sample in enumerate(samples) if sample.minute <= 0]
    sure = [index for index in early if not samples[index].doubtful]
    # Of what a sensor repeated the last before the start counts, as it would of sure ones.
    return samples[(sure or early or [0])[-1] :]


def _points(samples: Sequence[Sample]) -> list[Point]:
    """Return the samples as points; a humidity that none measured lies within what is around it.

    Between two samples with a humidity it changes linearly where these are at most two hours
    apart, and each holds for as long. Elsewhere it is assumed, or as far out as its neighbours.
    """
    damp = [sample for sample in samples if sample.humidity_percent is not None]
    minutes = [sample.minute for sample in damp]
    found = []
    for sample in samples:
        following = bisect_right(minutes, sample.minute)
        around = damp[max(following - 1, 0) : following + 1]
        percents = _percents(sample.minute, around)
        slow, fast = (
            AirState(sample.celsius, max(percents)),
            AirState(sample.celsius, min(percents)),
        )
        found.append(Point(sample.minute, slow, fast))
    return found


def _percents(minute: float, around: Sequence[Sample]) -> list[float]:
    """Return between which humidities a minute lies; one that is known stands alone."""
    told = [
        (sample.minute, sample.humidity_percent)
        for sample in around
        if sample.humidity_percent is not None
    ]
    known = [percent for at, percent in told if at == minute]
    before = [one for one in told if minute - _LONGEST <= one[0] < minute]
    if not known and before:
        begins, first = before[-1]
        later = [one for one in told if minute < one[0] <= begins + _LONGEST]
        share = (minute - begins) / (later[0][0] - begins) if later else 0.0
        known = [first + share * (later[0][1] - first) if later else first]
    return known or [ASSUMED_SLOW.humidity_percent, *(percent for _, percent in told)]


def _doubted(sample: Sample) -> Point:
    """Return a doubtful sample as a point: its cold and damp count, its warmth gets no credit."""
    percent = sample.humidity_percent
    said = AirState(sample.celsius, ASSUMED_SLOW.humidity_percent if percent is None else percent)
    return Point(sample.minute, said, ASSUMED_FAST)


def _within(points: Sequence[Point], starts: float, ends: float) -> Sequence[Point]:
    """Return the points between two minutes."""
    low = bisect_right(points, starts, key=attrgetter("minute"))
    return points[low : bisect_left(points, ends, key=attrgetter("minute"))]


def _between(point: Point, other: Point, doubtful: Sequence[Point]) -> Iterator[Stretch]:
    if other.minute - point.minute <= _LONGEST:
        yield _measured(point, other)
        return
    held = point.minute + LONGEST_MINUTES
    yield _measured(point, replace(point, minute=held))
    yield _gap(held, other.minute, [point, *_within(doubtful, point.minute, other.minute), other])


def _measured(point: Point, other: Point) -> Stretch:
    slow, fast = (point.slow, other.slow), (point.fast, other.fast)
    return Stretch(point.minute, other.minute, slow, fast, measured=True)


def _gap(starts: float, ends: float, neighbours: Sequence[Point]) -> Stretch:
    """Return a gap: what is assumed of it, or as far out as its neighbours."""
    slow = [ASSUMED_SLOW, *(point.slow for point in neighbours)]
    fast = [ASSUMED_FAST, *(point.fast for point in neighbours)]
    slowest = AirState(min(air.celsius for air in slow), max(air.humidity_percent for air in slow))
    fastest = AirState(max(air.celsius for air in fast), min(air.humidity_percent for air in fast))
    known = (slowest, fastest) != (ASSUMED_SLOW, ASSUMED_FAST)
    return Stretch(starts, ends, (slowest, slowest), (fastest, fastest), known=known)


def _mean(values: list[float]) -> float:
    return math.fsum(values) / len(values)
