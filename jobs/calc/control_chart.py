"""The individuals chart: whether single values, one after another, still come from one process.

Limits from the mean moving range: NIST/SEMATECH e-Handbook 6.3.2.2 (from memory). A run of eight on
one side of the centre: Western Electric, Statistical Quality Control Handbook (1956; from memory).
"""

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum
from itertools import groupby, pairwise
from math import exp, log, pi, sqrt
from statistics import fmean

# Of the range of two normal values: its mean and its standard deviation, in standard deviations.
D2 = 2 / sqrt(pi)
D3 = sqrt(2 - 4 / pi)
TO_LIMITS = 3 / D2  # 2.66
TO_RANGE_LIMIT = 1 + 3 * D3 / D2  # 3.267
RUN = 8
# Our own choices: fewer values have no limits, and below the second they are called provisional.
LEAST_VALUES = 8
SETTLED_VALUES = 20


class Rule(StrEnum):
    """What a signal is about."""

    BEYOND = "beyond_limits"
    RUN = "run_of_8"
    JUMP = "jump"


class Side(StrEnum):
    """On which side of the centre."""

    ABOVE = "above"
    BELOW = "below"


@dataclass(frozen=True, slots=True)
class Signal:
    """One rule that fired: at which value, on which side, and with which value it began.

    A run fires once, at its eighth value; `length` says how long it went on in all. A jump goes
    from the value before it.
    """

    rule: Rule
    at: int
    side: Side
    begins: int
    length: int = 1


@dataclass(frozen=True, slots=True)
class IndividualsChart:
    """Centre and limits of some values, of their moving ranges, and what stands out."""

    centre: float
    lower: float
    upper: float
    mean_range: float
    range_limit: float
    signals: tuple[Signal, ...]
    provisional: bool


def individuals_chart(values: Sequence[float]) -> IndividualsChart | None:
    """Return the chart of values in the order they came; None where there are fewer than eight.

    The limits are made from all the values. Of values that are all alike none stands out.
    """
    if len(values) < LEAST_VALUES:
        return None
    centre = fmean(values)
    mean_range = fmean(abs(after - before) for before, after in pairwise(values))
    range_limit = TO_RANGE_LIMIT * mean_range
    lower, upper = centre - TO_LIMITS * mean_range, centre + TO_LIMITS * mean_range
    found = [
        *_beyond(values, lower, upper),
        *_runs(values, centre),
        *_jumps(values, range_limit),
    ]
    return IndividualsChart(
        centre=centre,
        lower=lower,
        upper=upper,
        mean_range=mean_range,
        range_limit=range_limit,
        signals=tuple(sorted(found, key=lambda one: (one.at, one.rule))),
        provisional=len(values) < SETTLED_VALUES,
    )


def _side(value: float, centre: float) -> Side | None:
    if value == centre:
        return None
    return Side.ABOVE if value > centre else Side.BELOW


def _beyond(values: Sequence[float], lower: float, upper: float) -> list[Signal]:
    return [
        Signal(Rule.BEYOND, place, Side.ABOVE if value > upper else Side.BELOW, place)
        for place, value in enumerate(values)
        if not lower <= value <= upper
    ]


def _runs(values: Sequence[float], centre: float) -> list[Signal]:
    """Return the runs; a value on the centre line itself ends one."""
    found = []
    for side, group in groupby(range(len(values)), key=lambda place: _side(values[place], centre)):
        places = list(group)
        if side is not None and len(places) >= RUN:
            found.append(Signal(Rule.RUN, places[RUN - 1], side, places[0], len(places)))
    return found


def _jumps(values: Sequence[float], range_limit: float) -> list[Signal]:
    return [
        Signal(Rule.JUMP, place, Side.ABOVE if after > before else Side.BELOW, place - 1)
        for place, (before, after) in enumerate(pairwise(values), start=1)
        if abs(after - before) > range_limit
    ]


@dataclass(frozen=True, slots=True)
class TimesChart:
    """The chart of times by their logarithms, with centre and limits given back as times.

    `centre` is the geometric mean; from one to the next a time changes by up to `jump_factor`.
    """

    centre: float
    lower: float
    upper: float
    jump_factor: float
    signals: tuple[Signal, ...]
    provisional: bool


def times_chart(times: Sequence[float], *, least: float) -> TimesChart | None:
    """Return the chart of times in their order; None where there are fewer than eight.

    Times spread more upwards than downwards, and the chart of the times themselves calls one in
    fifty of a steady workshop's cars unusual; of their logarithms, one in 300
    (tests/calc/test_control_chart.py has the experiment). `least`: what a shorter time counts as,
    in their unit, above zero.
    """
    chart = individuals_chart([log(max(one, least)) for one in times])
    if chart is None:
        return None
    return TimesChart(
        centre=exp(chart.centre),
        lower=exp(chart.lower),
        upper=exp(chart.upper),
        jump_factor=exp(chart.range_limit),
        signals=chart.signals,
        provisional=chart.provisional,
    )
