"""How often the chart of a steady workshop shows a sign, and how soon it shows a lasting change.

Method. Times are made up by tests/calc/chart_cars.py from a seed: cars that have nothing to do with
each other (log-normal), cars whose logarithms are a first-order series (AR(1)), and a workshop
that is shut at night and at weekends, with cars that come at random in one line for two people.
The chart gets a hundred cars and, as the service has them, up to 300 before them; it knows nothing
else and estimates everything from these.

"Steady" is the share of charts with any sign at all where nothing changes. "Shift" is the share
that shows a lasting shift on the right side, where the last twenty of the hundred cars take longer,
or in every second chart less long, by one and a half standard deviations of the logarithms.

| 500 charts each | steady | shift | steady, nothing before | shift |
| --- | --- | --- | --- | --- |
| nothing to do with each other | 1.6 % | 100.0 % | 1.0 % | 96.8 % |
| AR(1) 0.4 | 3.2 % | 94.8 % | 4.8 % | 85.6 % |
| nights and weekends, busy 60 % | 6.0 % | 94.8 % | 7.2 % | 90.6 % |
| AR(1) 0.2 | 1.4 % | 98.0 % | 2.4 % | 91.2 % |
| AR(1) 0.6 | 5.4 % | 84.4 % | 15.4 % | 77.2 % |
| nights and weekends, busy 70 % | 10.8 % | 88.2 % | 21.2 % | 84.6 % |
| nights and weekends, busy 80 % | 26.8 % | 84.2 % | 37.2 % | 83.8 % |

The rules before (limits from moving ranges, a run of eight, jumps) showed a sign in 71 % of steady
charts of cars that have nothing to do with each other and in 97 % with AR(1) 0.4.

Where the people are busy for more of their hours, cars queue for days, so that a steady workshop's
times wander by themselves: that is in the last rows, and no chart of a hundred cars can tell it
from a change. With AR(1) 0.4 and nothing before the chart, nobody could do better by much: the
mean of twenty such cars says as much as that of nine that have nothing to do with each other.

`python -m tests.calc.test_chart_experiment` makes the table, in some minutes.
"""

import sys
from collections.abc import Iterator
from functools import partial
from math import exp
from random import Random

import pytest

from jobs.calc.control_chart import Rule, Side, TimesChart, times_chart
from tests.calc.chart_cars import Make, Times, alike, deviation, neighbours_alike, over_nights

SEED = 20270301
CHARTED, BEFORE, SINCE = 100, 300, 20
SHIFT_DEVIATIONS = 1.5
QUICK_CHARTS, CHARTS = 100, 1000
MOST_STEADY, LEAST_SHOWN = 0.10, 0.90
REQUIRED: dict[str, Make] = {
    "nothing to do with each other": alike,
    "AR(1) 0.4": neighbours_alike,
    "nights and weekends, busy 60 %": over_nights,
}
FURTHER: dict[str, Make] = {
    "AR(1) 0.2": partial(neighbours_alike, by=0.2),
    "AR(1) 0.6": partial(neighbours_alike, by=0.6),
    "nights and weekends, busy 70 %": partial(over_nights, load=0.7),
    "nights and weekends, busy 80 %": partial(over_nights, load=0.8),
}


def chart_of(times: Times) -> TimesChart:
    """Return the chart of the last hundred, as the service makes it."""
    chart = times_chart(times[-CHARTED:], least=1.0, before=times[:-CHARTED])
    assert chart is not None
    return chart


def steady_share(make: Make, *, charts: int, before: int) -> float:
    """Return the share of charts with a sign where nothing changes."""
    draw = Random(SEED)
    return sum(bool(chart_of(make(draw, CHARTED + before)).signals) for _ in range(charts)) / charts


def shown_share(make: Make, *, charts: int, before: int) -> float:
    """Return the share of charts that show a shift twenty cars after it began."""
    draw, factor = Random(SEED), exp(SHIFT_DEVIATIONS * deviation(make))
    shown = 0
    for number in range(charts):
        slower = number % 2 == 0
        times = make(draw, CHARTED + before)
        changed = [time * factor if slower else time / factor for time in times[-SINCE:]]
        chart = chart_of([*times[:-SINCE], *changed])
        side = Side.ABOVE if slower else Side.BELOW
        shown += any(one.rule is Rule.SHIFT and one.side is side for one in chart.signals)
    return shown / charts


@pytest.mark.parametrize("kind", REQUIRED)
def test_a_steady_workshops_chart_seldom_shows_a_sign(kind: str) -> None:
    """Of steady charts 71 % showed one, with AR(1) 0.4 97 %."""
    share = steady_share(REQUIRED[kind], charts=QUICK_CHARTS, before=BEFORE)
    assert share <= MOST_STEADY, f"seed {SEED}"


@pytest.mark.parametrize("kind", REQUIRED)
def test_a_lasting_shift_shows_within_twenty_cars(kind: str) -> None:
    share = shown_share(REQUIRED[kind], charts=QUICK_CHARTS, before=BEFORE)
    assert share >= LEAST_SHOWN, f"seed {SEED}"


@pytest.mark.parametrize("kind", REQUIRED)
def test_with_nothing_before_the_chart_it_is_as_seldom_steady(kind: str) -> None:
    share = steady_share(REQUIRED[kind], charts=QUICK_CHARTS, before=0)
    assert share <= MOST_STEADY, f"seed {SEED}"


def test_with_nothing_before_the_chart_a_shift_shows_where_cars_are_not_alike() -> None:
    assert shown_share(alike, charts=QUICK_CHARTS, before=0) >= LEAST_SHOWN


def table(charts: int) -> Iterator[str]:
    """Yield the table, a line at a time."""
    yield f"| {charts} charts each | steady | shift | steady, nothing before | shift |"
    yield "| --- | --- | --- | --- | --- |"
    for kind, make in (REQUIRED | FURTHER).items():
        cells = [
            share(make, charts=charts, before=before)
            for before in (BEFORE, 0)
            for share in (steady_share, shown_share)
        ]
        yield f"| {kind} | {' | '.join(f'{100 * cell:.1f} %' for cell in cells)} |"


if __name__ == "__main__":
    for line in table(int(sys.argv[1]) if len(sys.argv) > 1 else CHARTS):
        sys.stdout.write(f"{line}\n")
        sys.stdout.flush()
