"""No reading makes an interval wider than it was without it, of whatever kind the clock is."""

import random
from collections.abc import Iterable, Iterator
from dataclasses import replace
from datetime import timedelta
from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from jobs.work.calc.air.series import AirState, Reading, Stretch, ahead_of, steps_of
from jobs.work.calc.curing.cure import Cure, Estimate, Halted, cure_estimate, cure_process
from jobs.work.calc.curing.drying import Air, Drying, DryingPiece, drying_estimate, drying_process
from jobs.work.calc.curing.estimate import Piece, Process, done_by, estimate_of, summed_by
from tests.calc.air import START, after, never_wider, reading, width_of

Clock = Cure | Drying

SEATS, DRESSING, FLASH_OFF = Drying(240), Cure(180), Cure(20)
CLOCKS = st.one_of(
    st.sampled_from([SEATS, DRESSING, FLASH_OFF]),
    st.builds(
        Cure,
        reference_minutes=st.integers(0, 3000),
        reference_celsius=st.sampled_from([15.0, 20.0, 23.0]),
        q10=st.sampled_from([1.0, 1.5, 2.0, 3.0]),
        lowest_celsius=st.sampled_from([-10.0, 5.0, 10.0, 16.0]),
        highest_celsius=st.sampled_from([None, 23.0, 30.0, 60.0]),
    ),
    st.builds(Drying, reference_minutes=st.integers(0, 3000), air=st.sampled_from(list(Air))),
)
READINGS = st.builds(
    Reading,
    st.integers(-11_000, 4000).map(after) | st.integers(-200, 1200).map(after),
    st.floats(-10, 50),
    st.none() | st.floats(5, 100),
    st.sampled_from([False, False, False, True]),
)
SERIES = st.lists(READINGS, min_size=1, max_size=10, unique_by=lambda made: made.at)


def estimated(clock: Clock, air: list[Reading], minute: float = 0) -> Estimate:
    if isinstance(clock, Cure):
        return cure_estimate(clock, air, started_at=START, at=after(minute))
    return drying_estimate(clock, air, started_at=START, at=after(minute))


def course_slowest(process: Process, air: list[Reading], until: float) -> Iterator[Piece]:
    """Yield the pieces of the slowest course, put together from its steps a second time."""
    steps = list(steps_of(air, START, damp=process.damp))
    last_anew = max((index for index, step in enumerate(steps) if step.anew), default=0)
    for index, step in enumerate(steps):
        if step.anew or index > last_anew:
            for stretch in step.behind:
                yield from process.pieces(stretch, stretch.slow)
    for stretch in ahead_of(steps[-1], max(until, 60.0)):
        yield from process.pieces(stretch, stretch.slow)


@settings(max_examples=1500, deadline=None)
@given(SERIES, CLOCKS)
def test_no_reading_makes_the_interval_wider_than_it_was_before_it_came(
    air: list[Reading], clock: Clock
) -> None:
    """One after another, in order of time, whatever they say, doubtful ones too."""
    in_order = sorted(air, key=lambda measured: measured.at)
    found = [estimated(clock, in_order[:count]) for count in range(len(in_order) + 1)]
    for was, now in pairwise(found):
        assert never_wider(was, now)
    narrowest = min((width for width in map(width_of, found) if width is not None), default=None)
    assert width_of(found[-1]) in {None, narrowest}


@settings(max_examples=500, deadline=None)
@given(SERIES, CLOCKS)
def test_the_late_end_is_where_all_of_it_is_done_at_the_slowest(
    air: list[Reading], clock: Clock
) -> None:
    """Found by a formula ahead of the last reading, and by integrating the same air: a second."""
    process = cure_process(clock) if isinstance(clock, Cure) else drying_process(clock)
    found = estimated(clock, air)
    if found.latest_at is None or not process.needed:
        return
    second, minute = timedelta(seconds=1), timedelta(minutes=1)
    for by, done in ((found.latest_at - second, False), (found.latest_at + second, True)):
        slowest = [*course_slowest(process, air, (by - START) / minute)]
        assert (done_by(slowest, (by - START) / minute) >= process.needed) is done


@settings(max_examples=300, deadline=None)
@given(SERIES, st.randoms(use_true_random=False), CLOCKS)
def test_the_order_of_arrival_changes_no_bit(
    air: list[Reading], rng: random.Random, clock: Clock
) -> None:
    shuffled = list(air)
    rng.shuffle(shuffled)
    assert estimated(clock, shuffled, 90) == estimated(clock, air, 90)


@settings(max_examples=500, deadline=None)
@given(SERIES, st.lists(READINGS, min_size=2, max_size=3), CLOCKS)
def test_nor_does_a_second_sensor_of_the_same_instant(
    air: list[Reading], together: list[Reading], clock: Clock
) -> None:
    """They are averaged, in whichever order they come; that holds for up to three of them."""
    at = max(measured.at for measured in air) + timedelta(minutes=1)
    sensors = [replace(measured, at=at, doubtful=False) for measured in together]
    now = estimated(clock, [*air, *sensors])
    for left_out in range(len(sensors)):
        rest = sensors[:left_out] + sensors[left_out + 1 :]
        assert never_wider(estimated(clock, [*air, *rest]), now)


def test_twelve_degrees_and_68_per_cent_stay_as_sure_as_no_reading() -> None:
    """20:56 to 22:02 became 21:46 to 14:13 of the next day: 66 minutes grew to 16 hours.

    At the latest it takes as long as in that air, and is as sure as without the reading.
    """
    without, with_it = estimated(SEATS, []), estimated(SEATS, [reading(0, 12, 68)])
    assert width_of(without) == timedelta(minutes=65, seconds=44)
    assert width_of(with_it) == timedelta(minutes=65, seconds=44)
    assert with_it.latest_at == after(365 + 41 / 60)
    assert with_it.earliest_at == after(299 + 57 / 60)


@pytest.mark.parametrize(
    ("air", "early", "late"),
    [
        ([], 127, 180),
        ([reading(0, 12)], 178, 222),  # two hours known, then up to 20 °C: surer than without
        ([reading(0, 30)], 90, 90),
        ([reading(300, 8)], 240, 292),  # as cold as that all the time, and 53 minutes less
        ([reading(300, 25)], 127, 180),
    ],
)
def test_the_early_end_is_put_later_and_never_the_late_one_sooner(
    air: list[Reading], early: int, late: int
) -> None:
    found = estimated(DRESSING, air)
    assert found.latest_at is not None
    assert found.earliest_at is not None
    assert [
        round((end - START) / timedelta(minutes=1)) for end in (found.earliest_at, found.latest_at)
    ] == [early, late]


def test_what_was_halted_is_no_wider_than_it_was_before_the_cold() -> None:
    """Three degrees leave no end; once it is warm there is one again, as sure as at first."""
    cold = [reading(0, 3)]
    assert estimated(DRESSING, cold).halted is Halted.TOO_COLD
    thawed = [*cold, reading(600, 16)]
    assert width_of(estimated(DRESSING, thawed)) == width_of(estimated(DRESSING, []))


@pytest.mark.parametrize("clock", [Cure(30_000), Drying(30_000)])
def test_a_sum_that_goes_on_keeps_what_was_sure_before_it(clock: Clock) -> None:
    """A day without readings, and one in the cold; then it goes on from the last of them."""
    process = cure_process(clock) if isinstance(clock, Cure) else drying_process(clock)
    air = [reading(minute, 9, 70) for minute in (0, 60, 1500, 1560, 3000)]
    summed = summed_by(process, air, started_at=START, by=after(3000))
    at = after(3000)
    whole = estimated(clock, air, 3000)
    found = estimate_of(process, air[-1:], started_at=START, at=at, summed=summed)
    assert width_of(found) == width_of(whole) == timedelta(seconds=summed.width or 0)
    assert width_of(whole) == width_of(estimated(clock, []))
    loose = replace(summed, width=None)
    wider = estimate_of(process, air[-1:], started_at=START, at=at, summed=loose)
    assert not never_wider(found, wider)


def asked_for(readings: int) -> int:
    """Return how often a rate is asked for, with a sensor that reports every minute."""
    drying, asked = Drying(60_000), []

    def rate(air: AirState) -> float:
        asked.append(air)
        return drying.rate(air)

    def pieces(stretch: Stretch, air: tuple[AirState, AirState]) -> Iterable[Piece]:
        first, last = (rate(state) for state in air)
        return [DryingPiece(stretch.starts, stretch.ends, first, last)]

    air = [
        reading(minute, 9 + minute % 7, (None, 70)[minute % 50 == 0]) for minute in range(readings)
    ]
    counted = replace(drying_process(drying), pieces=pieces, rate=rate)
    estimate_of(counted, air, started_at=START, at=after(readings))
    return len(asked)


def test_the_sum_grows_with_the_number_of_readings_and_not_with_its_square() -> None:
    few, more, many = (asked_for(readings) for readings in (300, 600, 1200))
    assert more / few == pytest.approx(2, abs=0.1)
    assert many / more == pytest.approx(2, abs=0.1)
