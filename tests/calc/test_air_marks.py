"""A sensor that repeats one value for a day: figures are common practice, no source."""

from datetime import UTC, datetime, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from jobs.work.calc.air.doubts import (
    STUCK_GAP,
    SURROUNDINGS,
    Said,
    is_stuck,
    marks_beside,
    reaches_beyond,
    runs_of,
)

BEGIN = datetime(2027, 3, 1, 6, tzinfo=UTC)


def series(*values: float, every: timedelta = timedelta(hours=2)) -> list[Said]:
    """Return what a sensor said at even distances; humidity goes with the value."""
    return [Said(BEGIN + every * index, value, 70 + value) for index, value in enumerate(values)]


def all_marks(said: list[Said]) -> set[int]:
    """Return what is stuck by the definition, looking at everything at once."""
    return {index for run in runs_of(said) if is_stuck(said, run) for index in run[1:]}


def test_a_value_repeated_for_a_day_is_stuck_from_its_first_repeat_on() -> None:
    assert all_marks(series(*[12.0] * 13)) == set(range(1, 13))


@pytest.mark.parametrize(
    ("count", "every"),
    [(12, timedelta(hours=2)), (11, timedelta(hours=5)), (200, timedelta(minutes=7))],
)
def test_less_than_a_day_or_than_twelve_readings_is_not_stuck(count: int, every: timedelta) -> None:
    assert all_marks(series(*[12.0] * count, every=every)) == set()


def test_one_other_value_in_between_ends_the_run() -> None:
    assert all_marks(series(*[12.0] * 9, 12.1, *[12.0] * 9)) == set()


def test_the_same_temperature_with_another_humidity_is_no_repetition() -> None:
    said = [Said(BEGIN + timedelta(hours=index), 12.0, 60.0 + index % 2) for index in range(48)]
    assert all_marks(said) == set()


def test_a_sensor_without_humidity_is_stuck_by_its_temperature() -> None:
    said = [Said(BEGIN + timedelta(hours=index), 12.0) for index in range(25)]
    assert all_marks(said) == set(range(1, 25))


def test_readings_now_and_then_are_no_repetition() -> None:
    twice_a_day = series(*[15.0] * 30, every=timedelta(hours=12))
    assert all_marks(twice_a_day) == set()


def test_what_lies_at_the_edge_of_the_surroundings_keeps_its_mark() -> None:
    said = series(*[12.0] * 40)
    assert 0 not in marks_beside(said, [said[-1].at])
    assert marks_beside(said, [reading.at for reading in said])[0] is False


def test_a_run_far_from_the_fresh_reading_is_left_alone() -> None:
    old = series(*[12.0] * 13)
    fresh = Said(old[-1].at + STUCK_GAP + timedelta(minutes=1), 12.0, 82.0)
    assert marks_beside([*old, fresh], [fresh.at]) == {13: False}


@given(
    values=st.lists(st.sampled_from([12.0, 12.0, 12.0, 12.0, 13.0]), min_size=1, max_size=120),
    gaps=st.lists(st.sampled_from([20, 60, 120, 240, 360, 500]), min_size=120, max_size=120),
    data=st.data(),
)
def test_looking_around_fresh_readings_finds_what_looking_at_everything_finds(
    values: list[float], gaps: list[int], data: st.DataObject
) -> None:
    at, said = BEGIN, []
    for value, gap in zip(values, gaps, strict=False):
        at += timedelta(minutes=gap)
        said.append(Said(at, value))
    first = data.draw(st.integers(0, len(said) - 1))
    last = data.draw(st.integers(first, min(first + 5, len(said) - 1)))
    fresh = [said[first].at, said[last].at]
    before = [reading for index, reading in enumerate(said) if not first <= index <= last]
    marks = {before[index].at for index in all_marks(before)}

    near = window(said, fresh, STUCK_GAP)
    looked = window(said, fresh, SURROUNDINGS) if reaches_beyond(near, fresh) else near
    for index, stuck in marks_beside(looked, fresh).items():
        (marks.add if stuck else marks.discard)(looked[index].at)

    assert marks == {said[index].at for index in all_marks(said)}


def window(said: list[Said], fresh: list[datetime], room: timedelta) -> list[Said]:
    return [reading for reading in said if fresh[0] - room <= reading.at <= fresh[1] + room]
