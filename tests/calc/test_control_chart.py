"""The chart: limits and shifts against published values, and values that must not stand out."""

import math
from itertools import zip_longest
from statistics import fmean

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from jobs.work.calc.flow.control_chart import (
    LEAST_VALUES,
    SHOWN_AFTER,
    IndividualsChart,
    Rule,
    Side,
    farthest,
    individuals_chart,
    times_chart,
)
from jobs.work.calc.statistics.lasting_shift import (
    LEAST_BEFORE,
    LEAST_SINCE,
    lasting_shifts,
    products_left,
)

# NIST/SEMATECH e-Handbook 6.3.2.2, flow rates (data from memory).
HANDBOOK = [49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1]
STEADY = [10.0, 12.0, 9.0, 11.0, 10.0, 12.0, 9.0, 11.0]


def charted(values: list[float]) -> IndividualsChart:
    chart = individuals_chart(values)
    assert chart is not None
    return chart


@pytest.mark.parametrize(
    ("count", "published"), [(8, 2.126), (10, 2.290), (20, 2.709), (50, 3.128), (100, 3.384)]
)
def test_the_farthest_of_so_many_has_the_published_values(count: int, published: float) -> None:
    """Grubbs (1969), two-sided at 5 %, from memory."""
    assert farthest(count, 0.05) == pytest.approx(published, abs=0.002)


def test_centre_and_limits_are_of_the_values_shown() -> None:
    chart = charted(HANDBOOK)
    assert chart.centre == pytest.approx(50.81)
    reach = 2.0339 * 2.4821  # their standard deviation, and Grubbs for ten at 1 %
    assert chart.upper == pytest.approx(50.81 + reach, abs=0.02)
    assert chart.lower == pytest.approx(50.81 - reach, abs=0.02)
    assert chart.range_limit == pytest.approx(3.267 * 1.877778, abs=0.002)
    assert chart.signals == ()
    assert chart.provisional


def test_fewer_than_eight_values_have_no_limits() -> None:
    assert individuals_chart(HANDBOOK[: LEAST_VALUES - 1]) is None
    assert individuals_chart([]) is None


def test_twenty_values_are_no_longer_provisional() -> None:
    assert charted((HANDBOOK * 2)[:19]).provisional
    assert not charted(HANDBOOK * 2).provisional


def test_a_value_far_out_is_beyond_the_limits_and_nothing_else() -> None:
    chart = charted([*STEADY, *STEADY, 22.0, *STEADY])
    signals = [(signal.rule, signal.at, signal.side, signal.begins) for signal in chart.signals]
    assert signals == [(Rule.BEYOND, 16, Side.ABOVE, 16)]


def test_a_step_fires_once_with_the_value_it_began_and_how_long_it_went_on() -> None:
    slower, slowest = [value + 6 for value in STEADY], [value + 12 for value in STEADY]
    chart = charted([*STEADY * 12, *slower * 10, *slowest])
    shifts = [signal for signal in chart.signals if signal.rule is Rule.SHIFT]
    assert [(shift.begins, shift.length, shift.side) for shift in shifts] == [
        (96, 80, Side.ABOVE),
        (176, 8, Side.ABOVE),
    ]
    assert all(0 <= shift.at - shift.begins < 8 for shift in shifts)


def test_of_steps_that_hide_each_other_the_plainest_is_told() -> None:
    """Together they look like values that hang together, and none would be."""
    slower, slowest = [value + 6 for value in STEADY], [value + 12 for value in STEADY]
    chart = charted([*STEADY * 6, *slower * 4, *slowest * 2])
    assert [(signal.rule, signal.begins) for signal in chart.signals] == [(Rule.SHIFT, 80)]


def test_a_chart_of_few_values_could_show_no_shift_after_twenty() -> None:
    values = STEADY * 5
    assert charted(values[: LEAST_BEFORE + SHOWN_AFTER - 1]).least_shift is None
    assert charted(values).least_shift == pytest.approx(2.97, abs=0.5)


def test_what_could_show_is_told_from_the_values_since_the_last_shift() -> None:
    slower = [value + 6 for value in STEADY]
    alone, after = charted(slower * 5), charted([*STEADY * 5, *slower * 5])
    assert after.least_shift == alone.least_shift


def test_what_came_before_the_chart_says_what_is_usual() -> None:
    slower = [value + 6 for value in STEADY]
    assert charted(slower).signals == ()
    chart = individuals_chart(slower, before=STEADY * 3)
    assert chart is not None
    assert [(signal.rule, signal.begins) for signal in chart.signals] == [(Rule.SHIFT, 0)]
    assert chart.centre == fmean(slower)


def test_a_shift_before_the_chart_is_not_told_on_it_and_no_longer_usual() -> None:
    slower = [value + 6 for value in STEADY]
    chart = individuals_chart(slower * 4, before=[*STEADY * 10, *slower * 4])
    assert chart is not None
    assert chart.signals == ()


@given(
    st.one_of(st.floats(0.001, 1e9), st.just(0.1), st.just(1 / 3)),
    st.integers(LEAST_VALUES, 120),
    st.integers(0, 60),
)
def test_equal_values_never_stand_out(value: float, count: int, before: int) -> None:
    """They did where the rounding of their mean left it beside them."""
    for chart in (
        individuals_chart([value] * count, before=[value] * before),
        times_chart([value] * count, least=60.0, before=[value] * before),
    ):
        assert chart is not None
        assert chart.signals == ()


@given(st.lists(st.integers(36_000, 36_100), min_size=20, max_size=100))
def test_times_that_are_all_but_equal_do_not_stand_out(times: list[int]) -> None:
    chart = times_chart(times, least=60.0)
    assert chart is not None
    assert chart.signals == ()


@given(
    st.lists(st.integers(-30, 30).map(float), min_size=LEAST_VALUES, max_size=60),
    st.integers(0, 3),
)
def test_the_mirror_image_has_the_same_signals_on_the_other_side(
    values: list[float], scale: int
) -> None:
    mirrored = charted([-value * 2**scale for value in values])
    plain = charted([value * 2**scale for value in values])
    turned = {Side.ABOVE: Side.BELOW, Side.BELOW: Side.ABOVE}
    assert [
        (signal.rule, signal.at, turned[signal.side], signal.length) for signal in plain.signals
    ] == [(signal.rule, signal.at, signal.side, signal.length) for signal in mirrored.signals]


@given(st.lists(st.floats(-5, 5), max_size=80))
def test_shifts_are_in_order_far_enough_in_and_end_where_the_next_begins(
    values: list[float],
) -> None:
    shifts = lasting_shifts(values, least_deviation=0.01)
    for shift, after in zip_longest(shifts, shifts[1:]):
        assert LEAST_BEFORE <= shift.begins <= len(values) - LEAST_SINCE
        assert shift.begins + LEAST_SINCE - 1 <= shift.plain_at < len(values)
        assert shift.until == (after.begins if after else len(values))


@given(st.lists(st.integers(-500, 500).map(float), min_size=LEAST_VALUES, max_size=40))
def test_what_is_beyond_the_limits_is_exactly_what_is_flagged_so(values: list[float]) -> None:
    chart = charted(values)
    beyond = {
        place for place, value in enumerate(values) if not chart.lower <= value <= chart.upper
    }
    flagged = {signal.at for signal in chart.signals if signal.rule is Rule.BEYOND}
    assert flagged == beyond


def test_times_are_charted_by_their_logarithms_and_the_limits_given_back_as_times() -> None:
    minutes = [math.exp(value / 10) for value in HANDBOOK]
    chart, of_logs = times_chart(minutes, least=1.0), charted([value / 10 for value in HANDBOOK])
    assert chart is not None
    assert math.log(chart.centre) == pytest.approx(of_logs.centre)
    assert math.log(chart.upper) == pytest.approx(of_logs.upper)
    assert math.log(chart.lower) == pytest.approx(of_logs.lower)
    assert math.log(chart.jump_factor) * 10 == pytest.approx(3.267 * 1.877778, abs=0.002)
    assert 0 < chart.lower < chart.centre < chart.upper


def test_a_time_of_nothing_counts_as_the_least_there_is() -> None:
    chart = times_chart([0.0] * 20, least=60.0)
    assert chart is not None
    assert chart.centre == pytest.approx(60.0)
    assert times_chart([1.0] * 7, least=60.0) is None


@given(st.lists(st.floats(-5, 5), min_size=20, max_size=50))
def test_what_hangs_together_is_counted_beside_the_means_of_both_sides(values: list[float]) -> None:
    """Against the definition, product by product."""
    part = np.array(values)
    places = np.arange(LEAST_BEFORE, part.size - LEAST_SINCE + 1)
    found = products_left(part, places)
    for nth, place in enumerate(places):
        left = [*(part[:place] - part[:place].mean()), *(part[place:] - part[place:].mean())]
        plain = [
            sum(earlier * later for earlier, later in zip(left, left[apart:], strict=False))
            for apart in range(len(found))
        ]
        assert found[:, nth] == pytest.approx(plain, abs=1e-9)
