"""Drying by what the air takes up: against Carrier's ratio, SciPy's quadrature, and its bounds."""

import random
from datetime import timedelta
from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import quad

from jobs.calc.climate import evaporation
from jobs.calc.cure import Basis, Estimate, Halted, Reading
from jobs.calc.drying import Air, Drying, DryingPiece, drying_estimate
from tests.calc.air import CELSIUS, START, after, completed, day, in_a_gap, reading, readings

SEATS = Drying(240)
DRYINGS = st.builds(Drying, reference_minutes=st.integers(1, 2000), air=st.sampled_from(list(Air)))


def estimated(drying: Drying, air: list[Reading], minute: float = 0) -> Estimate:
    return drying_estimate(drying, air, started_at=START, at=after(minute))


def even(celsius: float, percent: float | None) -> list[Reading]:
    return [reading(minute, celsius, percent) for minute in range(-60, 2881, 60)]


def minutes(estimate: Estimate) -> float:
    assert estimate.earliest_at == estimate.latest_at
    return (estimate.latest_at - START) / timedelta(minutes=1)


def test_the_reference_air_takes_the_reference_minutes() -> None:
    estimate = estimated(SEATS, even(15, 60), 60)
    assert minutes(estimate) == 240
    assert (estimate.basis, estimate.progress_percent) == (Basis.MEASURED, 25)


def test_drying_goes_by_the_ratio_of_evaporations() -> None:
    """ASHRAE Transactions 1998, paper 4146: 166.1/34.6 between 20/50 and 10/80 (ratio only)."""
    warm, cool = (minutes(estimated(SEATS, even(*air))) for air in ((20, 50), (10, 80)))
    assert cool / warm == pytest.approx(166.1 / 34.6, rel=0.002)
    assert warm == pytest.approx(240 * evaporation(15, 60) / evaporation(20, 50), abs=0.01)


@pytest.mark.parametrize(("air", "speed"), [(Air.STILL, 0.1), (Air.FAN, 1.0), (Air.BLOWER, 3.0)])
def test_moving_air_shortens_it_by_carriers_factor(air: Air, speed: float) -> None:
    """The speeds are plausible: common practice, no source."""
    faster = (0.089 + 0.0782 * speed) / (0.089 + 0.0782 * 0.1)
    taken = minutes(estimated(Drying(240, air), even(15, 60)))
    assert taken == pytest.approx(240 / faster, abs=0.01)


def rate_by_hand(drying: Drying, one: Reading) -> float:
    assert one.humidity_percent is not None
    here = evaporation(one.celsius, one.humidity_percent, drying.air.metres_per_second)
    return here / evaporation(15, 60, 0.1)


@pytest.mark.parametrize("seed", range(60))
def test_the_end_agrees_with_scipys_quadrature(seed: int) -> None:
    """Rates linear between readings, integrated by SciPy up to our end, make what was needed."""
    rng = random.Random(seed)
    drying = Drying(rng.randint(30, 900), rng.choice(list(Air)))
    air = day(seed, minutes=14 * 1440)
    estimate = estimated(drying, air)
    assert (estimate.basis, estimate.halted) == (Basis.MEASURED, Halted.NO)
    end, total = minutes(estimate), 0.0
    for one, other in pairwise(air):
        start, stop = ((item.at - START) / timedelta(minutes=1) for item in (one, other))
        first, last = rate_by_hand(drying, one), rate_by_hand(drying, other)
        low, high = max(start, 0), min(stop, end)
        if low < high:
            total += quad(
                lambda minute, start=start, stop=stop, first=first, last=last: (
                    first + (last - first) * (minute - start) / (stop - start)
                ),
                low,
                high,
            )[0]
    # The end is rounded to a second, in which no more than the highest rate is done.
    assert abs(total - drying.reference_minutes) <= 12 / 60 / 2 + 1e-6


@pytest.mark.parametrize("seed", range(60))
def test_linear_rates_are_within_a_per_cent_of_those_of_linear_air(seed: int) -> None:
    """Our choice, where the air changes by up to 2 K and 10 % between readings (SciPy's quad)."""
    rng = random.Random(seed)
    celsius, percent = rng.uniform(5, 25), rng.uniform(35, 75)
    warmer, damper = rng.uniform(-2, 2), rng.uniform(-10, 10)

    def evaporating(share: float) -> float:
        return evaporation(celsius + share * warmer, percent + share * damper)

    exact = quad(evaporating, 0, 1)[0]
    assert (evaporating(0) + evaporating(1)) / 2 == pytest.approx(exact, rel=0.01)


def test_air_that_takes_up_nothing_from_some_moment_on_is_solved_at_its_edge() -> None:
    """From the reference to 100 % in an hour: half an hour is done, and no more."""
    air = [reading(0, 15, 60), *(reading(minute, 15, 100) for minute in range(60, 21000, 60))]
    assert minutes(estimated(Drying(29), air)) < 60
    soaked = estimated(Drying(31), air, 100)
    assert (soaked.halted, soaked.progress_percent) == (Halted.TOO_DAMP, 96)


@given(st.floats(0.001, 20), st.floats(1, 120))
def test_a_piece_that_stops_at_its_end_is_solved_without_an_error(
    rate: float, length: float
) -> None:
    """All of it is done at the end, and rounding may ask for more."""
    piece = DryingPiece(0, length, rate, 0)
    whole = piece.done(0, length) * (1 + 1e-15)
    assert piece.minute_when(whole, 0) == pytest.approx(length, rel=1e-6)


def test_what_need_not_dry_is_dry_at_once_in_any_air() -> None:
    assert minutes(estimated(Drying(0), even(15, 100))) == 0


# What is not measured


def test_without_readings_it_takes_at_most_the_reference_minutes_in_still_air() -> None:
    estimate = estimated(SEATS, [])
    assert estimate.latest_at == after(240)
    warm = 240 * evaporation(15, 60) / evaporation(20, 60)
    assert abs(estimate.earliest_at - after(warm)) <= timedelta(seconds=0.5)
    assert estimate.basis is Basis.NOT_MEASURED


def test_a_reading_without_humidity_stands_for_40_to_90_per_cent() -> None:
    estimate = estimated(SEATS, even(15, None))
    assert estimate.basis is Basis.GAPS
    assert abs(estimate.earliest_at - after(240 * 40 / 60)) <= timedelta(seconds=0.5)
    assert abs(estimate.latest_at - after(240 * 40 / 10)) <= timedelta(seconds=0.5)


def test_one_known_humidity_of_several_at_an_instant_is_that_of_the_instant() -> None:
    doubled = [*even(15, None), *even(15, 60)]
    assert minutes(estimated(SEATS, doubled)) == 240


@pytest.mark.parametrize(
    ("percent", "driest", "dampest"), [(60, 40, 90), (30, 30, 90), (97, 40, 97)]
)
def test_in_a_gap_humidity_is_open_as_well(percent: float, driest: float, dampest: float) -> None:
    estimate = estimated(Drying(10), [reading(600, 15, percent)])
    fast = 10 * evaporation(15, 60) / evaporation(20, driest)
    slow = 10 * evaporation(15, 60) / evaporation(10, dampest)
    assert abs(estimate.earliest_at - after(fast)) <= timedelta(seconds=0.5)
    assert abs(estimate.latest_at - after(slow)) <= timedelta(seconds=0.5)


@settings(max_examples=300, deadline=None)
@given(readings(1), DRYINGS, st.integers(0, 1_000_000))
def test_the_interval_holds_the_end_of_every_course_within_the_bounds(
    sparse: list[Reading], drying: Drying, seed: int
) -> None:
    open_ends = estimated(drying, sparse)
    course = completed(sparse, random.Random(seed))
    exact = estimated(drying, course)
    in_order = sorted(one.at for one in course)
    assert max(other - one for one, other in pairwise(in_order)) <= timedelta(hours=2)
    assert exact.basis is Basis.MEASURED
    assert open_ends.earliest_at <= exact.earliest_at
    assert exact.latest_at <= open_ends.latest_at


@settings(max_examples=300, deadline=None)
@given(readings(2), DRYINGS, st.data())
def test_a_reading_between_its_neighbours_narrows_a_gap_and_never_leaves_it(
    air: list[Reading], drying: Drying, data: st.DataObject
) -> None:
    more = in_a_gap(air, data)
    if more is None:
        return
    was, now = estimated(drying, air), estimated(drying, [*air, more])
    assert was.earliest_at <= now.earliest_at
    assert now.latest_at <= was.latest_at


@given(readings(), DRYINGS, st.integers(-60, 30_000))
def test_the_earliest_end_is_never_after_the_latest(
    air: list[Reading], drying: Drying, minute: int
) -> None:
    estimate = estimated(drying, air, minute)
    assert START <= estimate.earliest_at <= estimate.latest_at <= START + timedelta(days=14)
    assert 0 <= estimate.progress_percent <= 100


@given(readings(), st.randoms(use_true_random=False), DRYINGS)
def test_the_order_of_arrival_changes_no_bit(
    air: list[Reading], rng: random.Random, drying: Drying
) -> None:
    doubled = [*air, *(reading(7, 12.3 + number / 10, 55.1 + number) for number in range(5))]
    shuffled = list(doubled)
    rng.shuffle(shuffled)
    assert estimated(drying, shuffled, 90) == estimated(drying, doubled, 90)


@given(CELSIUS, CELSIUS, st.sampled_from([(Air.STILL, Air.FAN), (Air.FAN, Air.BLOWER)]))
def test_more_air_never_takes_longer(one: float, other: float, airs: tuple[Air, Air]) -> None:
    course = [reading(0, one, 60), reading(100, other, 70)]
    less, more = (estimated(Drying(240, air), course) for air in airs)
    assert more.latest_at <= less.latest_at


def test_minutes_below_nought_are_refused() -> None:
    with pytest.raises(ValueError, match="0 minutes or more"):
        Drying(-1)
