"""Cure by temperature: against ASTM F1980's figures, SciPy's quadrature, and its own bounds."""

import math
import random
from dataclasses import replace
from datetime import datetime, timedelta
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import quad
from scipy.optimize import brentq

from jobs.work.calc.curing.cure import (
    Basis,
    Cure,
    CurePiece,
    Estimate,
    Halted,
    Reading,
    cure_estimate,
    progress,
)
from tests.calc.air import (
    CELSIUS,
    START,
    after,
    day,
    never_wider,
    reading,
    readings,
)

DRESSING = Cure(180)  # at 15 °C, q10 2, not below 5 °C
CURES = st.builds(
    Cure,
    reference_minutes=st.integers(1, 2000),
    reference_celsius=st.sampled_from([15.0, 20.0, 23.0]),
    q10=st.sampled_from([1.0, 1.5, 2.0, 3.0]),
    lowest_celsius=st.sampled_from([-10.0, 5.0, 10.0]),
    highest_celsius=st.sampled_from([None, 23.0, 30.0]),
)


def estimated(cure: Cure, air: list[Reading], minute: float = 0) -> Estimate:
    return cure_estimate(cure, air, started_at=START, at=after(minute))


def ends(estimate: Estimate) -> tuple[datetime, datetime]:
    """Return both ends of an estimate that has them."""
    assert estimate.earliest_at is not None
    assert estimate.latest_at is not None
    return estimate.earliest_at, estimate.latest_at


def latest(estimate: Estimate) -> datetime:
    return ends(estimate)[1]


def width(estimate: Estimate) -> timedelta:
    earliest, last = ends(estimate)
    return last - earliest


# The rate


def test_thirty_degrees_more_age_eight_times_as_fast() -> None:
    """ASTM F1980, ageing factor 2 ** (difference / 10): 25 to 55 °C is 8."""
    assert Cure(60, reference_celsius=25, highest_celsius=60).rate(55) == 8


def test_a_year_at_23_degrees_is_79_days_at_45() -> None:
    """ASTM F1980's example, about 79 days."""
    assert 365 / Cure(60, reference_celsius=23, highest_celsius=60).rate(45) == pytest.approx(
        79, abs=0.6
    )


def test_a_doubling_from_10_to_20_degrees_is_48_kilojoules_a_mole() -> None:
    """Arrhenius, R = 8.314 J/(mol K): Ea = R ln(2) / (1/283.15 - 1/293.15) = 47.8 kJ/mol."""
    cure = Cure(60, lowest_celsius=0)
    growth = math.log(cure.rate(20) / cure.rate(10))
    assert 8.314 * growth / (1 / 283.15 - 1 / 293.15) == pytest.approx(47_800, abs=50)


def test_below_its_lowest_temperature_nothing_cures() -> None:
    assert DRESSING.rate(5) == 0.5
    assert DRESSING.rate(4.999) == 0


@pytest.mark.parametrize("wrong", [{"reference_minutes": -1}, {"q10": 0.9}])
def test_a_cure_that_warmth_slows_down_is_refused(wrong: dict[str, float]) -> None:
    with pytest.raises(ValueError, match="warmth"):
        Cure(**{"reference_minutes": 60.0, **wrong})


def test_warmth_above_the_ceiling_is_given_no_credit() -> None:
    """A coating of 720 minutes at 15 °C: at 45 °C it was done in 90, at 60 °C in 32."""
    coating = Cure(720)
    for celsius in (25, 35, 45, 60):
        estimate = estimated(coating, [reading(minute, celsius) for minute in range(0, 800, 60)])
        assert latest(estimate) == after(360), celsius


def test_the_sheets_own_ceiling_outranks_ours_and_never_lies_below_its_reference() -> None:
    assert Cure(60, highest_celsius=35).rate(60) == 4
    assert Cure(60, highest_celsius=18).rate(60) == Cure(60).rate(18)
    assert Cure(60, reference_celsius=60).rate(60) == 1
    with pytest.raises(ValueError, match="given credit"):
        Cure(60, reference_celsius=23, highest_celsius=22)


def test_a_course_through_the_ceiling_counts_evenly_above_it() -> None:
    """From 15 to 35 °C in 100 minutes: 50 (2 - 1) / ln 2, and then 50 at twice the rate."""
    air = [reading(0, 15), reading(100, 35)]
    worth = (50 / math.log(2) + 100) / 180
    assert progress(DRESSING, air, START, after(100)) == pytest.approx(worth, rel=1e-12)
    back = [reading(0, 35), reading(100, 15)]
    assert progress(DRESSING, back, START, after(100)) == pytest.approx(worth, rel=1e-12)


# The integral


@pytest.mark.parametrize("celsius", [5, 8.5, 12, 15, 20, 25])
def test_an_even_temperature_takes_the_closed_form(celsius: float) -> None:
    minutes = 180 * 2 ** ((15 - celsius) / 10)
    air = [reading(minute, celsius) for minute in range(-60, 600, 60)]
    end = after(minutes)
    assert progress(DRESSING, air, START, end) == pytest.approx(1, abs=1e-9)
    estimate = estimated(DRESSING, air)
    assert width(estimate) == timedelta(0)
    assert abs(latest(estimate) - end) <= timedelta(seconds=0.5)
    assert (estimate.basis, estimate.halted) == (Basis.MEASURED, Halted.NO)


def by_quadrature(cure: Cure, air: list[Reading], until: float) -> float:
    """SciPy's adaptive quadrature, told where the rate has a bend or a jump."""
    points = sorted(
        ((measured.at - START) / timedelta(minutes=1), measured.celsius) for measured in air
    )

    def celsius(minute: float) -> float:
        if minute <= points[0][0]:
            return points[0][1]
        for (start, first), (end, last) in pairwise(points):
            if minute <= end:
                return first + (last - first) * (minute - start) / (end - start)
        return points[-1][1]

    bends = sorted({0.0, until, *(minute for minute, _ in points if 0 < minute < until)})
    for limit in (cure.lowest_celsius, cure.ceiling_celsius):
        for start, end in pairwise(sorted(bends)):
            if (celsius(start) - limit) * (celsius(end) - limit) < 0:
                bends.append(
                    brentq(lambda minute, at=limit: celsius(minute) - at, start, end, xtol=1e-12)
                )
    total = 0.0
    for start, end in pairwise(sorted(bends)):
        if celsius((start + end) / 2) >= cure.lowest_celsius:
            found = quad(
                lambda minute: (
                    cure.q10
                    ** ((min(celsius(minute), cure.ceiling_celsius) - cure.reference_celsius) / 10)
                ),
                start,
                end,
                epsabs=1e-10,
                epsrel=1e-12,
            )
            total += found[0]
    return total / cure.reference_minutes


@pytest.mark.parametrize("seed", range(100))
def test_random_courses_agree_with_scipys_quadrature(seed: int) -> None:
    """To a millionth; half of them cross the lowest temperature."""
    rng = random.Random(seed)
    cure = Cure(rng.randint(60, 900), 15, rng.choice([1, 1.5, 2, 3]), rng.choice([-5, 5, 10]))
    air, until = day(seed), rng.uniform(30, 1400)
    ours = progress(cure, air, START, after(until))
    assert ours == pytest.approx(by_quadrature(cure, air, until), abs=1e-6)


@pytest.mark.parametrize("seed", range(100))
def test_the_end_is_where_the_integral_reaches_one(seed: int) -> None:
    """Solved within a piece by the inverse of the closed form, and rounded to a second."""
    cure = Cure(random.Random(seed).randint(1, 400), lowest_celsius=7)
    air = day(seed, minutes=14 * 1440)
    estimate = estimated(cure, air)
    assert estimate.basis is Basis.MEASURED
    second = timedelta(seconds=1)
    if estimate.latest_at is None:
        assert estimate.halted
        assert progress(cure, air, START, after(14 * 1440)) < 1
    else:
        assert progress(cure, air, START, estimate.latest_at - second) < 1
        assert progress(cure, air, START, estimate.latest_at + second) >= 1


def test_a_course_through_the_lowest_temperature_counts_on_its_warm_side_only() -> None:
    """From 15 to -5 °C in 100 minutes 50 are warm: the integral is 50 (1 - 2 ** -1) / ln 2."""
    air = [reading(0, 15), reading(100, -5)]
    warm = 50 * (1 - 0.5) / math.log(2) / 180
    assert progress(DRESSING, air, START, after(100)) == pytest.approx(warm, rel=1e-12)
    back = [reading(0, -5), reading(100, 15)]
    assert progress(DRESSING, back, START, after(100)) == pytest.approx(warm, rel=1e-12)
    assert progress(DRESSING, back, START, after(50)) == 0


def test_the_first_and_the_last_reading_hold_beyond_in_the_bare_integral() -> None:
    assert progress(DRESSING, [reading(30, 15)], START, after(90)) == pytest.approx(0.5)
    air = [reading(30, 5), reading(60, 5)]
    assert progress(DRESSING, air, START, after(180)) == pytest.approx(0.5)


def test_a_piece_that_all_but_stops_at_its_end_is_solved_without_an_error() -> None:
    """Of 120 K at a q10 of 1000 nothing is left in a float, and rounding may ask for more."""
    piece = CurePiece(0, 60, 60, -60, Cure(1, q10=1000, lowest_celsius=-100))
    whole = piece.done(0, 60)
    assert piece.minute_when(whole * (1 + 1e-15), 0) == 60
    assert piece.minute_when(whole / 2, 0) < 1


def test_an_integral_without_readings_is_refused_and_one_of_no_minutes_is_done() -> None:
    with pytest.raises(ValueError, match="without a reading"):
        progress(DRESSING, [], START, after(60))
    assert progress(Cure(0), [reading(0, 15)], START, START) == 1


# The order of arrival


@given(readings(), st.randoms(use_true_random=False), CURES)
def test_the_order_of_arrival_changes_no_bit(
    air: list[Reading], rng: random.Random, cure: Cure
) -> None:
    doubled = [*air, *(reading(7, 12.3 + number / 10) for number in range(5))]
    shuffled = list(doubled)
    rng.shuffle(shuffled)
    assert estimated(cure, shuffled, 90) == estimated(cure, doubled, 90)
    end = after(777)
    assert progress(cure, shuffled, START, end) == progress(cure, doubled, START, end)


def test_several_at_one_instant_are_averaged() -> None:
    even = [reading(minute, 15) for minute in range(0, 301, 60)]
    apart = [reading(minute, 15 + by) for minute in range(0, 301, 60) for by in (-4, 1, 3)]
    assert estimated(DRESSING, apart) == estimated(DRESSING, even)


def test_the_same_reading_twice_is_one() -> None:
    air = day(4)
    assert estimated(DRESSING, [*air, *air[3:9]]) == estimated(DRESSING, air)


@given(st.integers(0, 10_000), st.integers(0, 3))
def test_readings_after_the_end_change_nothing(seed: int, more: int) -> None:
    """Where it ends before a reading, later ones are later than all that counts."""
    air = day(seed)
    estimate = estimated(DRESSING, air)
    known = [
        measured
        for measured in air
        if estimate.latest_at is None or measured.at < estimate.latest_at
    ]
    following = air[len(known) : len(known) + 1 + more]
    assert estimated(DRESSING, [*known, *following]).latest_at == estimate.latest_at


@given(readings(1), st.integers(1, 6000), CELSIUS)
def test_readings_before_the_last_one_before_the_start_move_no_late_end(
    air: list[Reading], minutes: int, celsius: float
) -> None:
    air = [*air, reading(0, 14)]
    first = min(measured.at for measured in air)
    older = Reading(first - timedelta(minutes=minutes), celsius)
    was, now = estimated(DRESSING, air), estimated(DRESSING, [*air, older])
    assert replace(now, earliest_at=None) == replace(was, earliest_at=None)
    assert never_wider(was, now)


@given(readings(), st.integers(7 * 1440 + 1, 50_000), CELSIUS)
def test_readings_of_last_week_change_nothing(
    air: list[Reading], minutes: int, celsius: float
) -> None:
    """A cold spell of months ago must not hold back a car in summer where nobody measures."""
    assert estimated(DRESSING, [*air, reading(-minutes, celsius)]) == estimated(DRESSING, air)


@given(st.integers(0, 10_000), st.floats(0.01, 0.99), st.integers(0, 8))
def test_a_late_reading_that_says_what_was_assumed_changes_nothing(
    seed: int, share: float, place: int
) -> None:
    air = day(seed)
    earlier, later = air[place], air[place + 1]
    at = earlier.at + share * (later.at - earlier.at)
    part = (at - earlier.at) / (later.at - earlier.at)
    between = Reading(at, earlier.celsius + part * (later.celsius - earlier.celsius))
    was, now = estimated(DRESSING, air), estimated(DRESSING, [*air, between])
    if was.latest_at is None:
        assert now.latest_at is None
    else:
        assert abs(latest(now) - was.latest_at) <= timedelta(seconds=1)


def test_a_late_cold_reading_moves_the_end_back() -> None:
    air = [reading(0, 12), reading(60, 12), reading(120, 12), reading(180, 12), reading(240, 12)]
    was = estimated(DRESSING, air)
    now = estimated(DRESSING, [*air, reading(90, 6)])
    assert latest(was) - START == timedelta(minutes=221, seconds=36)  # 180 x 2 ** 0.3
    assert timedelta(minutes=5) < latest(now) - latest(was) < timedelta(minutes=15)


# What is not measured
