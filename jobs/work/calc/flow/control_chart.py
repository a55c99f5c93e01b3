"""The chart of single values, one after another: whether they still come from one process.

A car far from the others is beyond limits that the largest of so many steady values seldom passes
(Grubbs, Technometrics 1969, from memory); a lasting shift is found by
calc/statistics/lasting_shift.py. Limits from the mean moving range, runs on one side of the centre
and jumps from car to car, as Shewhart's individuals chart has them with the rules of the Western
Electric handbook (1956), call seven of ten charts of a steady workshop unusual, and nearly all
where neighbours are alike (tests/calc/test_chart_experiment.py), so there are none here.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum
from functools import cache
from itertools import pairwise
from math import atan, cos, exp, log, pi, sin, sqrt
from statistics import fmean

from jobs.work.calc.statistics.lasting_shift import Shift, lasting_shifts, least_told

# The share of charts of steady, normal values with one that is beyond the limits: our own choice.
BEYOND_BY_CHANCE = 0.01
# What moves from car to car stays within, in mean moving ranges (NIST/SEMATECH e-Handbook 6.3.2.2).
TO_RANGE_LIMIT = 3.267
# Our own choices: fewer values have no limits, and below the second they are called provisional.
LEAST_VALUES = 8
SETTLED_VALUES = 20
# After how many values a lasting shift is wanted to show.
SHOWN_AFTER = 20
_LEAST_FOR_FARTHEST = 3
# Values closer together than this, as logarithms, are alike: one part in a hundred.
LEAST_DEVIATION = 0.01


class Rule(StrEnum):
    """What a signal is about; runs and jumps are not told any more, but codes only grow."""

    BEYOND = "beyond_limits"
    RUN = "run_of_8"
    JUMP = "jump"
    SHIFT = "lasting_shift"


class Side(StrEnum):
    """On which side of the centre, or of what was before."""

    ABOVE = "above"
    BELOW = "below"


@dataclass(frozen=True, slots=True)
class Signal:
    """One rule that fired: at which value, on which side, and with which value it began.

    A shift fires at the value by which it stood out; `length` says how long it went on.
    """

    rule: Rule
    at: int
    side: Side
    begins: int
    length: int = 1


@dataclass(frozen=True, slots=True)
class IndividualsChart:
    """Centre and limits of some values, of their moving ranges, and what stands out.

    `least_shift`: what would be told as likely as not after twenty values; None: nothing usual.
    """

    centre: float
    lower: float
    upper: float
    range_limit: float
    signals: tuple[Signal, ...]
    provisional: bool
    least_shift: float | None


def individuals_chart(
    values: Sequence[float], *, before: Sequence[float] = ()
) -> IndividualsChart | None:
    """Return the chart of values in the order they came; None where there are fewer than eight.

    `before`: values that came before the first of them, which show what is usual. The limits are
    made from the values of the chart alone. Of values that are all but alike none stands out.
    """
    if len(values) < LEAST_VALUES:
        return None
    centre = fmean(values)
    squares = fmean((value - centre) ** 2 for value in values) * len(values)
    deviation = max(sqrt(squares / (len(values) - 1)), LEAST_DEVIATION)
    reach = deviation * farthest(len(values), BEYOND_BY_CHANCE)
    lower, upper = centre - reach, centre + reach
    mean_range = fmean(abs(after - before) for before, after in pairwise(values))
    series = [*before, *values]
    shifts = lasting_shifts(series, least_deviation=LEAST_DEVIATION)
    latest = series[shifts[-1].begins :] if shifts else series
    found = [*_beyond(values, lower, upper), *_shifts(shifts, len(before))]
    return IndividualsChart(
        centre=centre,
        lower=lower,
        upper=upper,
        range_limit=TO_RANGE_LIMIT * mean_range,
        signals=tuple(sorted(found, key=lambda signal: (signal.at, signal.rule))),
        provisional=len(values) < SETTLED_VALUES,
        least_shift=least_told(latest, since=SHOWN_AFTER, least_deviation=LEAST_DEVIATION),
    )


def _beyond(values: Sequence[float], lower: float, upper: float) -> list[Signal]:
    return [
        Signal(Rule.BEYOND, place, Side.ABOVE if value > upper else Side.BELOW, place)
        for place, value in enumerate(values)
        if not lower <= value <= upper
    ]


def _shifts(found: Sequence[Shift], earlier: int) -> list[Signal]:
    """Return the shifts that began on the chart; one before it only says what is usual."""
    return [
        Signal(
            Rule.SHIFT,
            shift.plain_at - earlier,
            Side.ABOVE if shift.higher else Side.BELOW,
            shift.begins - earlier,
            shift.until - shift.begins,
        )
        for shift in found
        if shift.begins >= earlier
    ]


@cache
def farthest(count: int, share: float) -> float:
    """Return how many standard deviations the farthest of normal values is seldom from their mean.

    Both are made from the values themselves; the farthest of `count` is beyond it in `share` of
    all samples, at the most (Grubbs 1969, from memory). Raises ValueError for fewer than three,
    which say nothing of how far one lies from the others.
    """
    if count < _LEAST_FOR_FARTHEST:
        raise ValueError("Of fewer than three values none is farther than the others.")
    freedom = count - 2
    squared = _student(share / count, freedom) ** 2
    return (count - 1) / sqrt(count) * sqrt(squared / (freedom + squared))


def _student(share: float, freedom: int) -> float:
    """Return how far Student's t with so many degrees of freedom is from 0 in a share of cases."""
    near, far = 0.0, 1e6
    for _ in range(100):
        middle = (near + far) / 2
        near, far = (middle, far) if _outside(middle, freedom) > share else (near, middle)
    return near


def _outside(t: float, freedom: int) -> float:
    """Return the probability that Student's t is farther from 0 than this.

    Finite sums for whole degrees of freedom: Abramowitz & Stegun 26.7.3 and 26.7.4.
    """
    angle = atan(t / sqrt(freedom))
    term = total = cos(angle) if freedom % 2 else 1.0
    for number in range(3 if freedom % 2 else 2, freedom - 1, 2):
        term *= cos(angle) ** 2 * (number - 1) / number
        total += term
    if freedom % 2 == 0:
        return 1 - sin(angle) * total
    return 1 - 2 / pi * (angle + (sin(angle) * total if freedom > 1 else 0.0))


@dataclass(frozen=True, slots=True)
class TimesChart:
    """The chart of times by their logarithms, with centre and limits given back as times.

    `centre` is the geometric mean; from one to the next a time changes by up to `jump_factor`;
    times that change by `shift_factor` for good would be told after twenty, as likely as not.
    """

    centre: float
    lower: float
    upper: float
    jump_factor: float
    signals: tuple[Signal, ...]
    provisional: bool
    shift_factor: float | None


def times_chart(
    times: Sequence[float], *, least: float, before: Sequence[float] = ()
) -> TimesChart | None:
    """Return the chart of times in their order; None where there are fewer than eight.

    Times spread more upwards than downwards, so it is one of their logarithms. `least`: what a
    shorter time counts as, in their unit, above zero. `before`: times before the first of them.
    """
    chart = individuals_chart(_logarithms(times, least), before=_logarithms(before, least))
    if chart is None:
        return None
    return TimesChart(
        centre=exp(chart.centre),
        lower=exp(chart.lower),
        upper=exp(chart.upper),
        jump_factor=exp(chart.range_limit),
        signals=chart.signals,
        provisional=chart.provisional,
        shift_factor=None if chart.least_shift is None else exp(chart.least_shift),
    )


def _logarithms(times: Sequence[float], least: float) -> list[float]:
    return [log(max(time, least)) for time in times]
