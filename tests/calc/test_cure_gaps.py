"""How long what cures takes where readings are few, late or missing."""

import random
from dataclasses import replace
from datetime import datetime, timedelta
from itertools import pairwise
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from jobs.work.calc.curing.cure import (
    Basis,
    Cure,
    Halted,
    Reading,
    cure_estimate,
    cure_process,
    progress,
)
from jobs.work.calc.curing.estimate import summed_by
from tests.calc.air import (
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
from tests.calc.test_cure import CURES, DRESSING, ends, estimated, latest, width


def test_without_readings_the_workshop_is_taken_to_have_15_to_20_degrees() -> None:
    estimate = estimated(DRESSING, [], 60)
    assert estimate.latest_at == after(180)
    assert ends(estimate)[0] - START == timedelta(minutes=127, seconds=17)  # 180 / sqrt 2
    assert estimate.basis is Basis.NOT_MEASURED
    assert estimate.progress_percent == 33
    assert estimated(DRESSING, [reading(-120, 15)]) == estimated(DRESSING, [])


def test_a_reading_of_two_hours_before_still_counts() -> None:
    assert estimated(DRESSING, [reading(-119, 15)]).basis is Basis.GAPS
    held = estimated(DRESSING, [reading(-10, 25)])
    assert (held.latest_at, held.basis) == (after(90), Basis.MEASURED)


@pytest.mark.parametrize(
    ("air", "warm", "cold"),
    [
        ([], 20, 15),
        ([reading(30, 16)], 20, 15),  # before the first
        ([reading(30, 12)], 20, 12),  # a cold one
        ([reading(30, 24)], 24, 15),  # a warm one
        ([reading(-130, 18), reading(20, 16)], 20, 15),  # too far apart
        ([reading(-130, 9), reading(20, 24)], 24, 9),
        ([reading(-10_000, 12)], 20, 12),  # within a week
        ([reading(-10_000, 3), reading(-200, 12)], 20, 12),  # the last one counts
    ],
)
def test_a_gap_is_as_assumed_or_as_far_out_as_the_readings_beside_it(
    air: list[Reading], warm: float, cold: float
) -> None:
    """Of 10 minutes 176 seconds were unsure without a reading, and no reading makes it more."""
    earliest, last = ends(estimated(Cure(10), air))
    early, late = (round(600 * 2 ** ((15 - celsius) / 10)) for celsius in (warm, cold))
    assert last - START == timedelta(seconds=late)
    assert earliest - START == timedelta(seconds=max(early, late - 176))


def test_a_reading_that_tells_nothing_new_leaves_the_air_not_measured() -> None:
    assert estimated(DRESSING, [reading(900, 16)]) == estimated(DRESSING, [])
    assert estimated(DRESSING, [reading(900, 14)]).basis is Basis.GAPS


def test_a_reading_holds_for_two_hours_and_then_leaves_room() -> None:
    """150 minutes at 15 °C: 120 measured, 30 left, at 20 °C to 15 °C."""
    for air in ([reading(0, 15)], [reading(0, 15), reading(900, 16)]):
        estimate = estimated(Cure(150), air)
        earliest, last = ends(estimate)
        assert earliest - START == timedelta(seconds=round(7200 + 1800 / 2**0.5))
        assert (last, estimate.basis) == (after(150), Basis.GAPS)
    assert estimated(Cure(120), [reading(0, 15)]).basis is Basis.MEASURED


@pytest.mark.parametrize("minute", [-4000, -1441, -600, -240, -121, -120, -119, 1])
def test_cold_that_was_measured_is_never_replaced_by_what_is_assumed(minute: int) -> None:
    """3 °C two hours and a minute before the start was forgotten: done at the latest at 11:00."""
    estimate = estimated(DRESSING, [reading(minute, 3)], 180)
    assert (estimate.latest_at, estimate.halted) == (None, Halted.TOO_COLD)
    assert estimate.progress_percent == 0


@pytest.mark.parametrize("minute", [-600, -121, -60, 30, 600])
def test_six_degrees_in_the_evening_halt_what_may_not_cure_in_them(minute: int) -> None:
    """Until somebody reads again: then it goes on from there, and not from before."""
    sealant, evening = Cure(900, lowest_celsius=8), reading(minute, 6)
    for hours in (1, 24, 24 * 6):
        estimate = estimated(sealant, [evening], minute + 60 * hours)
        assert (estimate.latest_at, estimate.halted) == (None, Halted.TOO_COLD)
    assert estimated(replace(sealant, lowest_celsius=6.0), [evening]).halted is Halted.NO
    morning = minute + 840
    again = latest(estimated(sealant, [evening, reading(morning, 15)]))
    assert again == after(max(morning, 0) + 900)


def test_what_a_sensor_repeats_throws_no_cold_away() -> None:
    """A gauge in whole degrees said 4 °C for 30 hours; the car was cured three hours later."""
    doubted = [Reading(after(60 * hour), 4.0, doubtful=True) for hour in range(-29, 1)]
    for air in (doubted, [reading(-1800, 4), *doubted], [*doubted, reading(400, 18)]):
        estimate = estimated(Cure(390), air, 180)
        assert (estimate.latest_at, estimate.progress_percent) == (None, 0) or (
            latest(estimate) > after(400)
        )
    assert estimated(DRESSING, doubted).latest_at is None
    warm = [replace(measured, celsius=17.0) for measured in doubted]
    assert estimated(DRESSING, warm) == estimated(DRESSING, [])
    beside = [reading(minute, 15) for minute in range(-60, 300, 60)]
    assert estimated(DRESSING, [*doubted, *beside]) == estimated(DRESSING, beside)


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
    """However the air went in the gaps, within the bounds there; the early end gives way first."""
    sparse = alike(sparse)
    course = completed(sparse, random.Random(seed))
    in_order = sorted(measured.at for measured in course)
    assert max(later - earlier for earlier, later in pairwise(in_order)) <= timedelta(hours=2)
    holds_the_end(lambda air: estimated(cure, air), sparse, course)


@given(readings(), CURES, st.integers(-60, 30_000))
def test_the_earliest_end_is_never_after_the_latest(
    air: list[Reading], cure: Cure, minute: int
) -> None:
    estimate = estimated(cure, air, minute)
    assert (estimate.latest_at is None) is bool(estimate.halted)
    assert (estimate.earliest_at or START) >= START
    assert 0 <= estimate.progress_percent <= 100
    if estimate.latest_at is not None:
        assert ends(estimate)[0] <= estimate.latest_at
        done = after(minute) >= estimate.latest_at
        assert (estimate.progress_percent == 100) is done
    else:
        assert estimate.progress_percent < 100


@settings(max_examples=300, deadline=None)
@given(readings(), CURES, st.data())
def test_a_reading_within_what_was_assumed_never_widens_the_interval(
    air: list[Reading], cure: Cure, data: st.DataObject
) -> None:
    """Whenever it was taken, and whatever else was measured; None is no bound at all."""
    more = in_band(air, data)
    if more is None:
        return
    was, now = estimated(cure, air), estimated(cure, [*air, more])
    if was.latest_at is not None:
        assert latest(now) <= was.latest_at
        assert never_wider(was, now)


def test_readings_without_a_gap_leave_no_width() -> None:
    air = day(11)
    assert width(estimated(DRESSING, air[::4])) > timedelta(0)
    assert width(estimated(DRESSING, air)) == timedelta(0)


def test_a_cold_workshop_that_is_read_twice_a_day_still_cures() -> None:
    """Nine degrees in the morning and in the afternoon: 180 x 2 ** 0.6 minutes at the latest."""
    estimate = estimated(DRESSING, [reading(0, 9), reading(480, 9)], 480)
    assert estimate.halted is Halted.NO
    assert abs(latest(estimate) - after(180 * 2**0.6)) < timedelta(seconds=1)


# Standing still


def test_in_the_cold_it_stands_still_and_says_so() -> None:
    frosty = [reading(minute, -1) for minute in range(0, 601, 60)]
    estimate = estimated(DRESSING, frosty, 600)
    assert (estimate.halted, estimate.progress_percent) == (Halted.TOO_COLD, 0)
    assert (estimate.earliest_at, estimate.latest_at) == (None, None)


@pytest.mark.parametrize("days", [13.98, 14.001, 30, 400])
def test_what_is_halted_is_never_done_however_long_it_was_cold(days: float) -> None:
    """On the fifteenth day the horizon of the sum was taken for its end."""
    cold = [reading(minute, 2) for minute in range(0, 14 * 1440, 60)]
    estimate = estimated(DRESSING, cold, days * 1440)
    assert (estimate.latest_at, estimate.halted) == (None, Halted.TOO_COLD)
    assert estimate.progress_percent == 0


def test_weeks_of_cold_and_then_warmth_cure_from_the_warmth_on() -> None:
    cold = [reading(minute, 2) for minute in range(0, 30 * 1440, 60)]
    warm = [reading(30 * 1440 + minute, 15) for minute in range(0, 241, 60)]
    assert latest(estimated(DRESSING, [*cold, *warm])) > after(30 * 1440 + 140)
    assert latest(estimated(DRESSING, [*cold, *warm])) < after(30 * 1440 + 150)


@settings(max_examples=100, deadline=None)
@given(readings(1), CURES, st.data())
def test_a_sum_that_goes_on_from_a_reading_is_the_whole_sum(
    air: list[Reading], cure: Cure, data: st.DataObject
) -> None:
    """To a second, in any number of steps and without what was read before the last of them."""
    moments = sorted(measured.at for measured in air if measured.at > START)
    whole = estimated(cure, air, 5000)
    summed = None
    for at in moments[: data.draw(st.integers(0, len(moments)))]:
        if whole.latest_at is not None and at >= whole.latest_at:
            break
        known = [measured for measured in air if summed is None or measured.at >= summed.at]
        summed = summed_by(cure_process(cure), known, started_at=START, by=at, summed=summed)
    known = [measured for measured in air if summed is None or measured.at >= summed.at]
    found = cure_estimate(cure, known, started_at=START, at=after(5000), summed=summed)
    assert found.halted == whole.halted
    assert abs(found.progress_percent - whole.progress_percent) <= 1
    if whole.latest_at is not None:
        assert abs(latest(found) - whole.latest_at) <= timedelta(seconds=1)
        assert width(found) <= width(whole) + timedelta(seconds=1)


def test_a_hundred_per_cent_are_shown_at_the_end_and_no_sooner() -> None:
    """Ten minutes at 16 °C are 559.8 seconds, which is rounded to 560."""
    quick, air = Cure(10), [reading(0, 16)]
    assert latest(estimated(quick, air)) == after(560 / 60)
    assert estimated(quick, air, 559.9 / 60).progress_percent == 99
    assert estimated(quick, air, 560 / 60).progress_percent == 100


def test_where_it_may_get_warm_again_the_earliest_end_says_so() -> None:
    estimate = estimated(DRESSING, [reading(0, 3)])
    assert estimate.halted is Halted.TOO_COLD
    assert estimate.latest_at is None
    assert estimate.earliest_at is None  # by what was measured last it stands still
    cool = estimated(Cure(180, lowest_celsius=10), [reading(-200, 3)])
    assert cool.latest_at is None
    assert cool.earliest_at == ends(estimated(DRESSING, []))[0]


def test_it_goes_on_when_it_is_warm_again() -> None:
    """An hour at 15 °C, a night at 2, then 15 again: two more hours from there."""
    air = [reading(minute, 15) for minute in (0, 60)]
    air += [reading(60 + 1 / 60, 2), *(reading(minute, 2) for minute in range(120, 721, 60))]
    air += [reading(720 + 1 / 60, 15), *(reading(minute, 15) for minute in range(780, 901, 60))]
    estimate = estimated(DRESSING, air, 400)
    assert abs(latest(estimate) - after(840)) < timedelta(seconds=5)
    assert (estimate.halted, estimate.progress_percent) == (Halted.NO, 33)


def test_what_takes_weeks_anyway_is_not_called_halted() -> None:
    slow = Cure(20 * 1440)
    estimate = estimated(slow, [reading(0, 15)])
    assert estimate.halted is Halted.NO
    assert latest(estimate) == after(20 * 1440)  # at 15 °C


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
    assert latest(estimate).isoformat() == "2026-10-25T02:30:00+00:00"
    assert progress(DRESSING, air, start, latest(estimate)) == pytest.approx(1)


def test_a_moment_without_a_time_zone_is_refused() -> None:
    with pytest.raises(ValueError, match="time zone"):
        cure_estimate(DRESSING, [], started_at=START.replace(tzinfo=None), at=START)


# The trade


@pytest.mark.parametrize("celsius", [15, 16, 18, 20])
def test_a_long_life_trim_dressing_wants_two_to_three_hours(celsius: float) -> None:
    """Common practice, no source: before rain or frost, at workshop temperature."""
    air = [reading(minute, celsius) for minute in range(0, 241, 60)]
    assert after(120) <= latest(estimated(DRESSING, air)) <= after(180)
