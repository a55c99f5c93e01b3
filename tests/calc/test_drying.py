"""Drying by what the air takes up: against Carrier's ratio, SciPy's quadrature, and its bounds."""

import random
from datetime import datetime, timedelta
from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import quad

from jobs.work.calc.air.climate import evaporation
from jobs.work.calc.curing.cure import Basis, Estimate, Halted, Reading
from jobs.work.calc.curing.drying import Air, Drying, DryingPiece, drying_estimate
from tests.calc.air import (
    CELSIUS,
    START,
    after,
    alike,
    completed,
    day,
    holds_the_end,
    in_band,
    never_wider,
    reading,
    readings,
)

SEATS = Drying(240)
DRYINGS = st.builds(Drying, reference_minutes=st.integers(1, 2000), air=st.sampled_from(list(Air)))


def estimated(drying: Drying, air: list[Reading], minute: float = 0) -> Estimate:
    return drying_estimate(drying, air, started_at=START, at=after(minute))


def even(celsius: float, percent: float | None) -> list[Reading]:
    return [reading(minute, celsius, percent) for minute in range(-60, 2881, 60)]


def ends(estimate: Estimate) -> tuple[datetime, datetime]:
    """Return both ends of an estimate that has them."""
    assert estimate.earliest_at is not None
    assert estimate.latest_at is not None
    return estimate.earliest_at, estimate.latest_at


def minutes(estimate: Estimate) -> float:
    earliest, latest = ends(estimate)
    assert earliest == latest
    return (latest - START) / timedelta(minutes=1)


def between(estimate: Estimate) -> tuple[int, int]:
    """Return the whole minutes of both ends."""
    earliest, latest = ends(estimate)
    return round((earliest - START).total_seconds() / 60), round(
        (latest - START).total_seconds() / 60
    )


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


def rate_by_hand(drying: Drying, measured: Reading) -> float:
    assert measured.humidity_percent is not None
    here = evaporation(
        min(measured.celsius, 25.0), measured.humidity_percent, drying.air.metres_per_second
    )
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
    for earlier, later in pairwise(air):
        start, stop = ((item.at - START) / timedelta(minutes=1) for item in (earlier, later))
        first, last = rate_by_hand(drying, earlier), rate_by_hand(drying, later)
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
    warm = 240 * evaporation(15, 60) / evaporation(20, 60)
    assert ends(estimate)[1] == after(240)
    assert abs(ends(estimate)[0] - after(warm)) <= timedelta(seconds=0.5)
    assert estimate.basis is Basis.NOT_MEASURED


def test_warmth_above_the_ceiling_is_given_no_credit() -> None:
    assert minutes(estimated(SEATS, even(45, 60))) == minutes(estimated(SEATS, even(25, 60)))


def test_a_reading_without_humidity_leaves_what_is_assumed_of_it() -> None:
    """A thermometer alone made it 40 to 90 %, which no thermometer at all had not done."""
    estimate = estimated(SEATS, even(15, None))
    assert (minutes(estimate), estimate.basis) == (240, Basis.MEASURED)


def test_humidity_that_was_measured_goes_on_beside_a_thermometer_without_it() -> None:
    """For two hours it holds, between two it is linear, then it is as damp as it was, or drier."""
    dry, damp = evaporation(15, 60), evaporation(15, 80)
    alone = [reading(minute, 15, None) for minute in range(30, 900, 30)]
    assert minutes(estimated(Drying(50), [reading(0, 15, 80), *alone])) == pytest.approx(
        50 * dry / damp, abs=0.01
    )
    both = [reading(0, 15, 80), *alone[:3], reading(120, 15, 40)]
    steady = [reading(0, 15, 80), reading(120, 15, 40)]
    assert abs(minutes(estimated(SEATS, both)) - minutes(estimated(SEATS, steady))) < 5
    long = ends(estimated(SEATS, [reading(0, 15, 80), *alone]))
    assert long[0] < long[1] == after(480)


def test_twelve_degrees_and_68_per_cent_do_not_last_into_the_next_day() -> None:
    """174 to 240 minutes without it; it made 225 to 1,212 of them, and then 237 to 366."""
    assert between(estimated(SEATS, [])) == (174, 240)
    earliest, latest = between(estimated(SEATS, [reading(0, 12, 68)]))
    slow = evaporation(15, 60) / evaporation(12, 68)
    assert latest == round(240 * slow) == 366
    assert earliest == 300


def test_one_known_humidity_of_several_at_an_instant_is_that_of_the_instant() -> None:
    doubled = [*even(15, None), *even(15, 60)]
    assert minutes(estimated(SEATS, doubled)) == 240


@pytest.mark.parametrize(
    ("percent", "driest", "dampest"), [(60, 60, 60), (30, 30, 60), (97, 60, 97)]
)
def test_in_a_gap_humidity_is_as_assumed_or_as_far_out(
    percent: float, driest: float, dampest: float
) -> None:
    earliest, latest = ends(estimated(Drying(10), [reading(600, 12, percent)]))
    without = ends(estimated(Drying(10), []))
    fast = 10 * evaporation(15, 60) / evaporation(20, driest)
    slow = 10 * evaporation(15, 60) / evaporation(12, dampest)
    assert abs(latest - after(slow)) <= timedelta(seconds=0.5)
    expected = max(after(fast), latest - (without[1] - without[0]))
    assert abs(earliest - expected) <= timedelta(seconds=0.5)


def test_damp_that_a_sensor_repeats_is_not_thrown_away() -> None:
    doubted = [Reading(after(60 * hour), 15.0, 97.0, doubtful=True) for hour in range(-29, 1)]
    slow = 240 * evaporation(15, 60) / evaporation(15, 97)
    assert between(estimated(SEATS, doubted)) == (round(slow) - 66, round(slow))


@settings(max_examples=300, deadline=None)
@given(readings(1), DRYINGS, st.integers(0, 1_000_000))
def test_the_interval_holds_the_end_of_every_course_within_the_bounds(
    sparse: list[Reading], drying: Drying, seed: int
) -> None:
    sparse = alike(sparse)
    course = completed(sparse, random.Random(seed))
    in_order = sorted(measured.at for measured in course)
    assert max(later - earlier for earlier, later in pairwise(in_order)) <= timedelta(hours=2)
    holds_the_end(lambda air: estimated(drying, air), sparse, course)


@settings(max_examples=300, deadline=None)
@given(readings(), DRYINGS, st.data())
def test_a_reading_within_what_was_assumed_never_widens_the_interval(
    air: list[Reading], drying: Drying, data: st.DataObject
) -> None:
    """Of temperature and humidity, whenever it was taken; None is no bound at all."""
    air = alike(air)
    more = in_band(air, data)
    if more is None:
        return
    was, now = estimated(drying, air), estimated(drying, [*air, more])
    if was.latest_at is not None:
        assert ends(now)[1] <= was.latest_at
        assert never_wider(was, now)


@given(readings(), DRYINGS, st.integers(-60, 30_000))
def test_the_earliest_end_is_never_after_the_latest(
    air: list[Reading], drying: Drying, minute: int
) -> None:
    estimate = estimated(drying, air, minute)
    assert (estimate.latest_at is None) is bool(estimate.halted)
    assert 0 <= estimate.progress_percent <= 100
    if estimate.latest_at is not None:
        earliest, latest = ends(estimate)
        assert START <= earliest <= latest


@given(readings(), st.randoms(use_true_random=False), DRYINGS)
def test_the_order_of_arrival_changes_no_bit(
    air: list[Reading], rng: random.Random, drying: Drying
) -> None:
    doubled = [*air, *(reading(7, 12.3 + number / 10, 55.1 + number) for number in range(5))]
    shuffled = list(doubled)
    rng.shuffle(shuffled)
    assert estimated(drying, shuffled, 90) == estimated(drying, doubled, 90)


@given(CELSIUS, CELSIUS, st.sampled_from([(Air.STILL, Air.FAN), (Air.FAN, Air.BLOWER)]))
def test_more_air_never_takes_longer(first: float, second: float, airs: tuple[Air, Air]) -> None:
    course = [reading(0, first, 60), reading(100, second, 70)]
    less, more = (estimated(Drying(240, air), course).latest_at for air in airs)
    assert less is None or (more is not None and more <= less)


def test_minutes_below_nought_are_refused() -> None:
    with pytest.raises(ValueError, match="0 minutes or more"):
        Drying(-1)
