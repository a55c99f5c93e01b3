"""How often the chart of a steady workshop shows a sign, and how soon it shows a lasting change.

Method. Times are made up by tests/calc/chart_cars.py from a seed: cars that have nothing to do with
each other (log-normal), cars whose logarithms are a first-order series (AR(1)), and a workshop
that is shut at night and at weekends, with cars that come at random in one line. One long history
of each kind is looked at every hundred cars: a chart gets the latest hundred and, as the service
has them, up to 400 before them; it knows nothing else and estimates everything from these.

"Steady" is the share of charts with any sign at all where nothing changes. "Shift" is the share
that shows a lasting shift on the right side, where the last twenty of the hundred cars take longer,
or in every second chart less long, by one and a half standard deviations of the logarithms. The
last column is the best that anything could show of them with nothing before the chart and a sign
on a tenth of steady ones, if it knew how such cars hang together (tests/calc/chart_limit.py).

| 1000 charts each | steady | shift | nothing before: steady | shift | best |
| --- | --- | --- | --- | --- | --- |
| nothing to do with each other | 3.6 % | 100.0 % | 1.0 % | 92.2 % | 100 % |
| AR(1) 0.4 | 3.7 % | 91.6 % | 1.0 % | 21.7 % | 96 % |
| two people, busy 60% | 5.9 % | 94.7 % | 2.7 % | 49.5 % | 96 % |
| two people, busy 70% | 6.1 % | 78.0 % | 5.2 % | 35.5 % | 85 % |
| two people, busy 80% | 8.0 % | 51.8 % | 8.1 % | 21.3 % | 71 % |
| one person, busy 60% | 5.6 % | 83.2 % | 2.5 % | 30.1 % | 88 % |
| one person, busy 70% | 4.5 % | 64.0 % | 4.1 % | 17.2 % | 76 % |
| one person, busy 80% | 6.8 % | 36.0 % | 8.5 % | 9.7 % | 64 % |
| AR(1) 0.2 | 4.3 % | 99.4 % | 1.8 % | 58.9 % | 99 % |
| AR(1) 0.6 | 3.0 % | 66.7 % | 0.6 % | 3.9 % | 84 % |
| two people, busy 90% | 9.9 % | 20.9 % | 11.7 % | 11.0 % | 69 % |
| four people, busy 80% | 9.5 % | 77.5 % | 2.3 % | 17.6 % | 84 % |

Rules with limits from moving ranges, a run of eight and jumps showed a sign in 71 % of steady
charts of cars that have nothing to do with each other and in 97 % with AR(1) 0.4.

With nothing before it a chart has to learn from the same hundred cars how they hang together and
whether they changed. A queue that came by chance then looks like a change, so that it takes a
larger one to be told: the price of the fourth column is the fifth.

`python -m tests.calc.test_chart_experiment` makes the table, in some minutes.
"""

import sys
from collections.abc import Iterator, Sequence
from functools import cache, partial
from math import exp
from random import Random

import pytest

from jobs.work.calc.flow.control_chart import Rule, Side, TimesChart, times_chart
from tests.calc.chart_cars import Make, Times, alike, deviation, neighbours_alike, over_nights
from tests.calc.chart_limit import limit

SEED = 20270301
CHARTED, BEFORE = 100, 400  # as the service has them: tests/api/test_flow.py
SINCE, SHIFT_DEVIATIONS = 20, 1.5
QUICK_CHARTS, CHARTS = 160, 1000
MOST_STEADY, LEAST_SHOWN = 0.10, 0.90
ALIKE, NEIGHBOURS = "nothing to do with each other", "AR(1) 0.4"
WORKSHOPS: dict[str, Make] = {
    f"{words}, busy {load:.0%}": partial(over_nights, load=load, people=people)
    for people, words in ((2, "two people"), (1, "one person"))
    for load in (0.6, 0.7, 0.8)
}
STEADY: dict[str, Make] = {ALIKE: alike, NEIGHBOURS: neighbours_alike} | WORKSHOPS
SHOWN = (ALIKE, NEIGHBOURS, "two people, busy 60%")
FURTHER: dict[str, Make] = {
    "AR(1) 0.2": partial(neighbours_alike, by=0.2),
    "AR(1) 0.6": partial(neighbours_alike, by=0.6),
    "two people, busy 90%": partial(over_nights, load=0.9),
    "four people, busy 80%": partial(over_nights, load=0.8, people=4),
}


@cache
def looked_at(make: Make, charts: int) -> Sequence[Times]:
    """Return the times that a workshop has had each time it looks, every hundred cars."""
    times = make(Random(SEED), BEFORE + charts * CHARTED)
    return [times[CHARTED * number :][: BEFORE + CHARTED] for number in range(charts)]


def chart_of(times: Times, before: int) -> TimesChart:
    """Return the chart of the last hundred, as the service makes it."""
    earlier = times[-CHARTED - before : -CHARTED]
    chart = times_chart(times[-CHARTED:], least=1.0, before=earlier)
    assert chart is not None
    return chart


def steady_share(make: Make, *, charts: int, before: int) -> float:
    """Return the share of charts with a sign where nothing changes."""
    looks = looked_at(make, charts)
    return sum(bool(chart_of(times, before).signals) for times in looks) / charts


def shown_share(make: Make, *, charts: int, before: int) -> float:
    """Return the share of charts that show a shift twenty cars after it began."""
    factor = exp(SHIFT_DEVIATIONS * deviation(make))
    shown = 0
    for number, times in enumerate(looked_at(make, charts)):
        slower = number % 2 == 0
        changed = [time * factor if slower else time / factor for time in times[-SINCE:]]
        chart = chart_of([*times[:-SINCE], *changed], before)
        side = Side.ABOVE if slower else Side.BELOW
        shown += any(signal.rule is Rule.SHIFT and signal.side is side for signal in chart.signals)
    return shown / charts


def best_share(make: Make) -> float:
    """Return the share that the best test shows with nothing before the chart."""
    return limit(make, cars=CHARTED, since=SINCE, size=SHIFT_DEVIATIONS, false_signs=MOST_STEADY)


@pytest.mark.parametrize("before", [BEFORE, 0])
@pytest.mark.parametrize("kind", STEADY)
def test_a_steady_workshops_chart_seldom_shows_a_sign(kind: str, before: int) -> None:
    """Of steady charts 71 % showed one once; of those of a busy workshop 11 to 37 % still did."""
    share = steady_share(STEADY[kind], charts=QUICK_CHARTS, before=before)
    assert share <= MOST_STEADY, f"seed {SEED}"


@pytest.mark.parametrize("kind", SHOWN)
def test_a_lasting_shift_shows_within_twenty_cars(kind: str) -> None:
    share = shown_share(STEADY[kind], charts=QUICK_CHARTS, before=BEFORE)
    assert share >= LEAST_SHOWN, f"seed {SEED}"


def test_with_nothing_before_the_chart_a_shift_shows_where_cars_are_not_alike() -> None:
    assert shown_share(alike, charts=2 * QUICK_CHARTS, before=0) >= LEAST_SHOWN, f"seed {SEED}"


@pytest.mark.parametrize("before", [BEFORE, 0])
@pytest.mark.parametrize("kind", ["two people, busy 60%", "one person, busy 70%"])
def test_the_shift_that_a_chart_names_shows_as_likely_as_not(kind: str, before: int) -> None:
    shown = []
    for times in looked_at(STEADY[kind], QUICK_CHARTS)[::2]:
        factor = chart_of(times, before).shift_factor
        if factor is not None:
            changed = [time * factor for time in times[-SINCE:]]
            signals = chart_of([*times[:-SINCE], *changed], before).signals
            shown.append(any(signal.rule is Rule.SHIFT for signal in signals))
    assert 0.4 <= sum(shown) / len(shown) <= 0.75, f"seed {SEED}"


def test_a_chart_says_where_no_usual_shift_would_show() -> None:
    looks = looked_at(WORKSHOPS["one person, busy 80%"], QUICK_CHARTS)
    silent = [chart_of(times, 0).shift_factor is None for times in looks]
    assert sum(silent) / QUICK_CHARTS >= 0.5, f"seed {SEED}"


def test_no_chart_could_show_it_in_nine_of_ten_where_people_are_busy() -> None:
    """So that the rows of the table below nine of ten are no fault of the rule alone."""
    assert best_share(WORKSHOPS["one person, busy 80%"]) < LEAST_SHOWN


def table(charts: int) -> Iterator[str]:
    """Yield the table, a line at a time."""
    yield f"| {charts} charts each | steady | shift | nothing before: steady | shift | best |"
    yield "| --- | --- | --- | --- | --- | --- |"
    for kind, make in (STEADY | FURTHER).items():
        shares = [
            share(make, charts=charts, before=before)
            for before in (BEFORE, 0)
            for share in (steady_share, shown_share)
        ]
        cells = [f"{100 * share:.1f} %" for share in shares]
        yield f"| {kind} | {' | '.join(cells)} | {100 * best_share(make):.0f} % |"


if __name__ == "__main__":
    for line in table(int(sys.argv[1]) if len(sys.argv) > 1 else CHARTS):
        sys.stdout.write(f"{line}\n")
        sys.stdout.flush()
