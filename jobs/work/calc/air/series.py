"""Readings of the air as one course over time: what was measured, and bounds where it was not.

Minutes count from the start of a clock. The order in which readings came in cannot matter: they
are sorted, and several at one instant are averaged by a sum that is exact.

Where nobody measured, the air lies between what is assumed of a workshop and the readings beside
that time, whichever are further out: cold that was measured stays cold until somebody measures
again. So a reading that lies within the bounds of its time never widens them, at no time.
"""

import math
from bisect import bisect_right
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime
from itertools import combinations, groupby, pairwise
from operator import itemgetter

from jobs.work.calc.instants import minutes_between, to_utc

# Readings further apart leave a gap, and each holds for as long: our own figure.
LONGEST_MINUTES = 120.0
# Differences of minutes are rounded; two hours to the microsecond are still two hours.
_LONGEST = LONGEST_MINUTES + 1e-6
# Of so many sensors at one instant it is known what it was without some: there are 2 ** n of those.
MOST_TOGETHER = 3
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
    """What is known of the air at one minute; `fewer`: as it was without some of its readings."""

    minute: float
    celsius: float
    humidity_percent: float | None
    doubtful: bool = False
    fewer: Sequence["Sample"] = ()


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


@dataclass(frozen=True, slots=True)
class Step:
    """One instant more in a course: what lies between it and the one before, and what follows it.

    `anew`: `behind` takes the place of all since the last such step, and nothing that comes later
    changes it. `last`: the last sure reading so far; `doubted`: how far out doubtful ones since
    then are. `fewer`: the same without some of the readings of this instant. What lies behind may
    begin before minute 0.
    """

    minute: float
    behind: Sequence[Stretch] = ()
    anew: bool = False
    last: Point | None = None
    doubted: Point | None = None
    fewer: Sequence["Step"] = ()

    @property
    def beside(self) -> Sequence[Point]:
        """Return what bounds the air from here on, where nobody measures it."""
        return [point for point in (self.last, self.doubted) if point is not None]


def samples_of(readings: Iterable[Reading], start: datetime) -> Iterator[Sample]:
    """Return one sample an instant in order of time; humidity is the mean of those that have it.

    Doubtful readings count only at an instant that has no others. Raises ValueError, when the first
    is asked for, for a time without a time zone.
    """
    timed = sorted(((to_utc(reading.at), reading) for reading in readings), key=itemgetter(0))
    for at, group in groupby(timed, key=itemgetter(0)):
        here = [reading for _, reading in group]
        sure = [reading for reading in here if not reading.doubtful]
        minute = minutes_between(start, at)
        some = range(1, len(sure)) if len(sure) <= MOST_TOGETHER else ()
        fewer = [_sample(minute, part) for size in some for part in combinations(sure, size)]
        yield replace(_sample(minute, sure or here), doubtful=not sure, fewer=fewer)


def _sample(minute: float, readings: Sequence[Reading]) -> Sample:
    damp = [
        reading.humidity_percent for reading in readings if reading.humidity_percent is not None
    ]
    celsius = _mean([reading.celsius for reading in readings])
    return Sample(minute, celsius, _mean(damp) if damp else None)


def steps_of(readings: Iterable[Reading], start: datetime, *, damp: bool) -> Iterator[Step]:
    """Yield the course as it is without a reading, and with each instant's more, in order of time.

    Between two readings at most two hours apart the air changes linearly, and each holds for two
    hours. Elsewhere it lies within 15 to 20 °C and 60 %, or as far out as the readings that the
    gap lies between and the doubtful ones in it. Readings of more than seven days before the start
    do not count, and of those before it only the last does. Nothing is worked out before it is
    asked for. `damp`: the humidity matters, too. Raises ValueError, when the second is asked for,
    for a time without a time zone.
    """
    yield Step(-math.inf)
    growing = _Growing(damp)
    for sample in samples_of(readings, start):
        if sample.minute >= -OLDEST_MINUTES:
            yield growing.with_sample(sample)


def ahead_of(step: Step, minutes: float) -> Sequence[Stretch]:
    """Return what follows after the last reading of a step, up to so many minutes after it."""
    begins, ends = gap_ahead(step, minutes)
    gap = _gap(begins, ends, step.beside)
    if step.last is None:
        return [gap]
    return [_measured(step.last, replace(step.last, minute=begins)), gap]


def gap_ahead(step: Step, minutes: float) -> tuple[float, float]:
    """Return the minutes between which nothing is measured after a step."""
    begins = 0.0 if step.last is None else step.last.minute + LONGEST_MINUTES
    reached = 0.0 if step.doubted is None else step.doubted.minute
    return begins, max(begins, reached, 0.0) + minutes


@dataclass(slots=True)
class _Growing:
    """A course that grows by one sample after another."""

    damp: bool
    # The last sure sample whose humidity nothing that comes later changes, and those since, each
    # with what was doubtful before it.
    known: Sample | None = None
    run: list[tuple[Point | None, Sample]] = field(default_factory=list)
    last: Point | None = None
    doubted: Point | None = None

    def with_sample(self, sample: Sample) -> Step:
        """Return the step to a sample, which is later than all before."""
        if sample.doubtful:
            # Of what a sensor repeated the last before the start counts, as it would of sure ones.
            kept = self.doubted if self.last is not None or sample.minute > 0 else None
            self.doubted = _doubted(sample, kept)
            return Step(sample.minute, last=self.last, doubted=self.doubted)
        if sample.minute <= 0:
            self.known, self.run, self.last, self.doubted = None, [], None, None
        step = self._to(sample)
        fewer = [self._to(part) for part in sample.fewer]
        if step.anew:
            self.known, self.run = sample, []
        else:
            self.run.append((self.doubted, sample))
        self.last, self.doubted = step.last, None
        return replace(step, fewer=fewer) if fewer else step

    def _to(self, sample: Sample) -> Step:
        """Return the step to a sure sample; one without humidity settles nothing for good."""
        if self.damp and sample.humidity_percent is None:
            last = _points([sample] if self.known is None else [self.known, sample])[-1]
            behind = _between(self.last, self.doubted, last)
            return Step(sample.minute, behind, last=last)
        run = [*self.run, (self.doubted, sample)]
        samples = [member for _, member in run]
        points: list[Point | None]
        if len(samples) == 1:
            points = [self.last, _point(sample)]
        elif self.known is None:
            points = [None, *_points(samples)]
        else:
            points = [*_points([self.known, *samples])]
        behind = [
            stretch
            for (doubted, _), (point, following) in zip(run, pairwise(points), strict=True)
            if following is not None
            for stretch in _between(point, doubted, following)
        ]
        return Step(sample.minute, behind, anew=True, last=points[-1])


def _point(sample: Sample) -> Point:
    """Return a sample as a point where its humidity is known, or does not matter."""
    percent = sample.humidity_percent
    air = AirState(sample.celsius, ASSUMED_SLOW.humidity_percent if percent is None else percent)
    return Point(sample.minute, air, air)


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
    measured = [
        (sample.minute, sample.humidity_percent)
        for sample in around
        if sample.humidity_percent is not None
    ]
    known = [percent for at, percent in measured if at == minute]
    before = [pair for pair in measured if minute - _LONGEST <= pair[0] < minute]
    if not known and before:
        begins, first = before[-1]
        later = [pair for pair in measured if minute < pair[0] <= begins + _LONGEST]
        share = (minute - begins) / (later[0][0] - begins) if later else 0.0
        known = [first + share * (later[0][1] - first) if later else first]
    return known or [ASSUMED_SLOW.humidity_percent, *(percent for _, percent in measured)]


def _doubted(sample: Sample, before: Point | None) -> Point:
    """Return how far out doubtful samples are: cold and damp count, warmth gets no credit."""
    percent = sample.humidity_percent
    said = AirState(sample.celsius, ASSUMED_SLOW.humidity_percent if percent is None else percent)
    slow = said if before is None else _slowest([said, before.slow])
    return Point(sample.minute, slow, ASSUMED_FAST)


def _between(point: Point | None, doubted: Point | None, following: Point) -> Sequence[Stretch]:
    """Return what lies between two readings, or before the first, from minute 0 on."""
    beside = [neighbour for neighbour in (point, doubted, following) if neighbour is not None]
    if point is None:
        return [_gap(0.0, following.minute, beside)] if following.minute > 0 else ()
    if following.minute - point.minute <= _LONGEST:
        return [_measured(point, following)]
    held = point.minute + LONGEST_MINUTES
    return [_measured(point, replace(point, minute=held)), _gap(held, following.minute, beside)]


def _measured(point: Point, following: Point) -> Stretch:
    slow, fast = (point.slow, following.slow), (point.fast, following.fast)
    return Stretch(point.minute, following.minute, slow, fast, measured=True)


def _gap(starts: float, ends: float, beside: Sequence[Point]) -> Stretch:
    """Return a gap: what is assumed of it, or as far out as the readings beside it."""
    slowest, fastest = bounds_beside(beside)
    known = (slowest, fastest) != (ASSUMED_SLOW, ASSUMED_FAST)
    return Stretch(starts, ends, (slowest, slowest), (fastest, fastest), known=known)


def bounds_beside(beside: Sequence[Point]) -> tuple[AirState, AirState]:
    """Return the slowest and the fastest air that a gap beside some readings may have."""
    slow, fast = ASSUMED_SLOW, ASSUMED_FAST
    for point in beside:
        slow = _slowest([slow, point.slow])
        fast = AirState(
            max(fast.celsius, point.fast.celsius),
            min(fast.humidity_percent, point.fast.humidity_percent),
        )
    return slow, fast


def _slowest(airs: Sequence[AirState]) -> AirState:
    return AirState(min(air.celsius for air in airs), max(air.humidity_percent for air in airs))


def _mean(values: list[float]) -> float:
    return math.fsum(values) / len(values)
