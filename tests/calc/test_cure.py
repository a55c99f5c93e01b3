"""Cure by temperature: against ASTM F1980's figures, SciPy's quadrature, and its own bounds."""

import math
import random
from datetime import datetime, timedelta
from itertools import pairwise
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import quad
from scipy.optimize import brentq

from jobs.calc.cure import (
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
    completed,
    day,
    in_a_gap,
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
)


def estimated(cure: Cure, air: list[Reading], minute: float = 0) -> Estimate:
    return cure_estimate(cure, air, started_at=START, at=after(minute))


def width(estimate: Estimate) -> timedelta:
    return estimate.latest_at - estimate.earliest_at


# The rate


def test_thirty_degrees_more_age_eight_times_as_fast() -> None:
    """ASTM F1980, ageing factor 2 ** (difference / 10): 25 to 55 °C is 8."""
    assert Cure(60, reference_celsius=25).rate(55) == 8


def test_a_year_at_23_degrees_is_79_days_at_45() -> None:
    """ASTM F1980's example, about 79 days."""
    assert 365 / Cure(60, reference_celsius=23).rate(45) == pytest.approx(79, abs=0.6)


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


# The integral


@pytest.mark.parametrize("celsius", [5, 8.5, 12, 15, 20, 31])
def test_an_even_temperature_takes_the_closed_form(celsius: float) -> None:
    minutes = 180 * 2 ** ((15 - celsius) / 10)
    air = [reading(minute, celsius) for minute in range(-60, 600, 60)]
    end = after(minutes)
    assert progress(DRESSING, air, START, end) == pytest.approx(1, abs=1e-9)
    estimate = estimated(DRESSING, air)
    assert estimate.earliest_at == estimate.latest_at
    assert abs(estimate.latest_at - end) <= timedelta(seconds=0.5)
    assert (estimate.basis, estimate.halted) == (Basis.MEASURED, Halted.NO)


def by_quadrature(cure: Cure, air: list[Reading], until: float) -> float:
    """SciPy's adaptive quadrature, told where the rate has a bend or a jump."""
    points = sorted(((one.at - START) / timedelta(minutes=1), one.celsius) for one in air)

    def celsius(minute: float) -> float:
        if minute <= points[0][0]:
            return points[0][1]
        for (start, first), (end, last) in pairwise(points):
            if minute <= end:
                return first + (last - first) * (minute - start) / (end - start)
        return points[-1][1]

    def above(minute: float) -> float:
        return celsius(minute) - cure.lowest_celsius

    bends = sorted({0.0, until, *(minute for minute, _ in points if 0 < minute < until)})
    for start, end in pairwise(tuple(bends)):
        if above(start) * above(end) < 0:
            bends.append(brentq(above, start, end, xtol=1e-12))
    total = 0.0
    for start, end in pairwise(sorted(bends)):
        if above((start + end) / 2) >= 0:
            found = quad(
                lambda minute: cure.q10 ** ((celsius(minute) - cure.reference_celsius) / 10),
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
    if estimate.halted:
        assert estimate.latest_at == START + timedelta(days=14)
        assert progress(cure, air, START, estimate.latest_at) < 1
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
    known = [one for one in air if one.at < estimate.latest_at]
    following = air[len(known) : len(known) + 1 + more]
    assert estimated(DRESSING, [*known, *following]).latest_at == estimate.latest_at


@given(readings(1), st.integers(-6000, -121), CELSIUS)
def test_readings_of_more_than_two_hours_before_the_start_change_nothing(
    air: list[Reading], minute: int, celsius: float
) -> None:
    assert estimated(DRESSING, [*air, reading(minute, celsius)]) == estimated(DRESSING, air)


@given(st.integers(0, 10_000), st.floats(0.01, 0.99), st.integers(0, 8))
def test_a_late_reading_that_says_what_was_assumed_changes_nothing(
    seed: int, share: float, place: int
) -> None:
    air = day(seed)
    one, other = air[place], air[place + 1]
    at = one.at + share * (other.at - one.at)
    part = (at - one.at) / (other.at - one.at)
    between = Reading(at, one.celsius + part * (other.celsius - one.celsius))
    was, now = estimated(DRESSING, air), estimated(DRESSING, [*air, between])
    assert abs(now.latest_at - was.latest_at) <= timedelta(seconds=1)


def test_a_late_cold_reading_moves_the_end_back() -> None:
    air = [reading(0, 12), reading(60, 12), reading(120, 12), reading(180, 12), reading(240, 12)]
    was = estimated(DRESSING, air)
    now = estimated(DRESSING, [*air, reading(90, 6)])
    assert was.latest_at - START == timedelta(minutes=221, seconds=36)  # 180 x 2 ** 0.3
    assert timedelta(minutes=5) < now.latest_at - was.latest_at < timedelta(minutes=15)


# What is not measured


def test_without_readings_the_workshop_is_taken_to_have_15_to_20_degrees() -> None:
    estimate = estimated(DRESSING, [], 60)
    assert estimate.latest_at == after(180)
    assert estimate.earliest_at - START == timedelta(minutes=127, seconds=17)  # 180 / sqrt 2
    assert estimate.basis is Basis.NOT_MEASURED
    assert estimate.progress_percent == 33
    assert estimated(DRESSING, [reading(-121, 15)]) == estimated(DRESSING, [])


def test_a_reading_of_two_hours_before_still_counts() -> None:
    assert estimated(DRESSING, [reading(-120, 15)]).basis is Basis.GAPS
    held = estimated(DRESSING, [reading(-10, 25)])
    assert (held.latest_at, held.basis) == (after(90), Basis.MEASURED)


@pytest.mark.parametrize(
    ("air", "warm", "cold"),
    [
        ([reading(30, 15)], (16,), (14,)),  # before the first
        ([reading(0, 15), reading(121, 16)], (17,), (14,)),  # too far apart
        ([reading(150, 15)], (18,), (12,)),  # two hours and a half before it
        ([reading(-105, 15), reading(900, 12)], (17,), (10,)),  # near the first of two
        ([reading(900, 15)], (20,), (10,)),  # as far as it may have been
    ],
)
def test_gaps_are_a_degree_an_hour_wider_than_their_neighbours(
    air: list[Reading], warm: tuple[float], cold: tuple[float]
) -> None:
    quick = Cure(10)
    estimate = estimated(quick, air)
    assert estimate.earliest_at - START == timedelta(
        seconds=round(600 * 2 ** ((15 - warm[0]) / 10))
    )
    assert estimate.latest_at - START == timedelta(seconds=round(600 * 2 ** ((15 - cold[0]) / 10)))
    assert estimate.basis is Basis.GAPS


def test_the_last_reading_holds_for_two_hours_and_then_leaves_room() -> None:
    """150 minutes at 15 °C: 120 measured, 30 left, at 18 °C to 12 °C in the third hour."""
    estimate = estimated(Cure(150), [reading(0, 15)])
    assert estimate.earliest_at - START == timedelta(seconds=round(7200 + 1800 / 2**0.3))
    assert estimate.latest_at - START == timedelta(seconds=round(7200 + 1800 * 2**0.3))
    assert estimate.basis is Basis.GAPS
    assert estimated(Cure(120), [reading(0, 15)]).basis is Basis.MEASURED


@given(st.integers(0, 7_200_000_000 - 1))
def test_readings_two_hours_apart_leave_no_gap_at_whatever_moment_it_starts(before: int) -> None:
    """Minutes from a start at any microsecond are rounded, and so are their differences."""
    first = START - timedelta(microseconds=before)
    air = [Reading(first + number * timedelta(hours=2), 15) for number in range(4)]
    assert estimated(DRESSING, air).basis is Basis.MEASURED


@settings(max_examples=300, deadline=None)
@given(readings(1), CURES, st.integers(0, 1_000_000))
def test_the_interval_holds_the_end_of_every_course_within_the_bounds(
    sparse: list[Reading], cure: Cure, seed: int
) -> None:
    """However the air went in the gaps, within a degree an hour of the neighbours there."""
    open_ends = estimated(cure, sparse)
    course = completed(sparse, random.Random(seed))
    exact = estimated(cure, course)
    in_order = sorted(one.at for one in course)
    assert max(other - one for one, other in pairwise(in_order)) <= timedelta(hours=2)
    assert exact.basis is Basis.MEASURED
    assert open_ends.earliest_at <= exact.earliest_at
    assert exact.latest_at <= open_ends.latest_at


@given(readings(), CURES, st.integers(-60, 30_000))
def test_the_earliest_end_is_never_after_the_latest(
    air: list[Reading], cure: Cure, minute: int
) -> None:
    estimate = estimated(cure, air, minute)
    assert START <= estimate.earliest_at <= estimate.latest_at <= START + timedelta(days=14)
    assert 0 <= estimate.progress_percent <= 100
    if not estimate.halted:
        done = after(minute) >= estimate.latest_at
        assert (estimate.progress_percent == 100) is done


@settings(max_examples=300, deadline=None)
@given(readings(2), CURES, st.data())
def test_a_reading_between_its_neighbours_narrows_a_gap_and_never_leaves_it(
    air: list[Reading], cure: Cure, data: st.DataObject
) -> None:
    """Only such a reading is sure to: one outside its neighbours' range moves the bounds."""
    more = in_a_gap(air, data)
    if more is None:
        return
    was, now = estimated(cure, air), estimated(cure, [*air, more])
    assert was.earliest_at <= now.earliest_at
    assert now.latest_at <= was.latest_at


def test_readings_without_a_gap_leave_no_width() -> None:
    air = day(11)
    assert width(estimated(DRESSING, air[::4])) > timedelta(0)
    assert width(estimated(DRESSING, air)) == timedelta(0)


def test_a_cold_workshop_that_is_read_twice_a_day_still_cures() -> None:
    """Nine degrees in the morning and in the afternoon: four hours from either it may be five."""
    estimate = estimated(DRESSING, [reading(0, 9), reading(480, 9)], 480)
    assert estimate.halted is Halted.NO
    assert after(272) < estimate.latest_at < after(480)  # 272 = 180 x 2 ** 0.6


# Standing still


def test_in_the_cold_it_stands_still_and_says_so() -> None:
    frosty = [reading(minute, -1) for minute in range(0, 601, 60)]
    estimate = estimated(DRESSING, frosty, 600)
    assert estimate.latest_at == START + timedelta(days=14)
    assert (estimate.halted, estimate.progress_percent) == (Halted.TOO_COLD, 0)
    assert estimate.earliest_at == estimate.latest_at  # -1 + 5 is still below 5 °C


def test_what_was_not_done_in_14_days_is_not_called_done_after_them() -> None:
    frosty = [reading(minute, -1) for minute in range(0, 20_000, 120)]
    assert estimated(DRESSING, frosty, 15 * 1440).progress_percent == 0


def test_a_hundred_per_cent_are_shown_at_the_end_and_no_sooner() -> None:
    """Ten minutes at 16 °C are 559.8 seconds, which is rounded to 560."""
    quick, air = Cure(10), [reading(0, 16)]
    assert estimated(quick, air).latest_at == after(560 / 60)
    assert estimated(quick, air, 559.9 / 60).progress_percent == 99
    assert estimated(quick, air, 560 / 60).progress_percent == 100


def test_where_it_may_get_warm_again_the_earliest_end_says_so() -> None:
    estimate = estimated(DRESSING, [reading(0, 3)])
    assert estimate.halted is Halted.TOO_COLD
    assert estimate.latest_at == START + timedelta(days=14)
    assert estimate.earliest_at < after(500)


def test_it_goes_on_when_it_is_warm_again() -> None:
    """An hour at 15 °C, a night at 2, then 15 again: two more hours from there."""
    air = [reading(minute, 15) for minute in (0, 60)]
    air += [reading(60 + 1 / 60, 2), *(reading(minute, 2) for minute in range(120, 721, 60))]
    air += [reading(720 + 1 / 60, 15), *(reading(minute, 15) for minute in range(780, 901, 60))]
    estimate = estimated(DRESSING, air, 400)
    assert abs(estimate.latest_at - after(840)) < timedelta(seconds=5)
    assert (estimate.halted, estimate.progress_percent) == (Halted.NO, 33)


def test_what_takes_weeks_anyway_is_not_called_halted() -> None:
    slow = Cure(20 * 1440)
    estimate = estimated(slow, [reading(0, 15)])
    assert estimate.halted is Halted.NO
    assert after(28 * 1440) < estimate.latest_at < after(29 * 1440)  # at 10 °C, from 2 hours on


def test_a_product_that_need_not_cure_is_done_at_once() -> None:
    estimate = estimated(Cure(0), [])
    assert estimate.latest_at == START
    assert estimate.progress_percent == 100


# Time


def test_an_hour_that_comes_twice_in_autumn_is_two_hours() -> None:
    """Clocks went back in Britain on 25 October 2026 at 01:00 UTC."""
    london = ZoneInfo("Europe/London")
    start = datetime(2026, 10, 25, 0, 30, tzinfo=london)
    air = [Reading(start + timedelta(hours=number), 15) for number in range(8)]
    estimate = cure_estimate(DRESSING, air, started_at=start, at=start)
    assert estimate.latest_at.isoformat() == "2026-10-25T02:30:00+00:00"
    assert progress(DRESSING, air, start, estimate.latest_at) == pytest.approx(1)


def test_a_moment_without_a_time_zone_is_refused() -> None:
    with pytest.raises(ValueError, match="time zone"):
        cure_estimate(DRESSING, [], started_at=START.replace(tzinfo=None), at=START)


# The trade


@pytest.mark.parametrize("celsius", [15, 16, 18, 20])
def test_a_long_life_trim_dressing_wants_two_to_three_hours(celsius: float) -> None:
    """Common practice, no source: before rain or frost, at workshop temperature."""
    air = [reading(minute, celsius) for minute in range(0, 241, 60)]
    assert after(120) <= estimated(DRESSING, air).latest_at <= after(180)
