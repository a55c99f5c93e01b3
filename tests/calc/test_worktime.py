"""Working minutes: holds are taken out, several valeters add up."""

from datetime import UTC, datetime, timedelta
from itertools import pairwise
from uuid import UUID

import pytest
from hypothesis import given
from hypothesis import strategies as st

from jobs.work.calc.tasks.worktime import (
    Clock,
    Span,
    counted,
    merged,
    seconds_of,
    seconds_outside,
    whole_minutes,
    within,
)

NINE = datetime(2027, 3, 1, 9, 0, tzinfo=UTC)
DAY_SECONDS = 240


def span(start: float, end: float) -> Span:
    """Return a span in minutes after nine o'clock."""
    return Span(NINE + timedelta(minutes=start), NINE + timedelta(minutes=end))


def seconds(start: int, end: int) -> Span:
    return Span(NINE + timedelta(seconds=start), NINE + timedelta(seconds=end))


def clock(number: int, person: UUID | None, car: UUID, ran: Span) -> Clock:
    return Clock(UUID(int=number), person, car, ran)


PEOPLE = [UUID(int=1), UUID(int=2), None]
CARS = [UUID(int=3), UUID(int=4)]
SPANS = st.builds(seconds, st.integers(0, DAY_SECONDS), st.integers(0, DAY_SECONDS))


def covered(stretch: Span) -> set[int]:
    """Count second by second, a way of its own to the same answer."""
    first = round((stretch.start - NINE).total_seconds())
    last = round((stretch.end - NINE).total_seconds())
    return set(range(first, last))


def minutes_of(spells: list[Span], holds: list[Span]) -> int:
    """Return the minutes of somebody else's spell each, all on one car."""
    clocks = [clock(10 + number, None, CARS[0], spell) for number, spell in enumerate(spells)]
    worked = counted(clocks, {CARS[0]: holds})
    return whole_minutes(sum(map(seconds_of, worked.values())))


@pytest.mark.parametrize(
    ("spells", "holds", "minutes"),
    [
        ([], [], 0),
        ([span(0, 30)], [], 30),
        ([span(0, 30), span(0, 30)], [], 60),  # two valeters at once
        ([span(0, 30), span(45, 60)], [], 45),  # a pause
        ([span(0, 60)], [span(10, 40)], 30),
        ([span(0, 60)], [span(10, 40), span(20, 30)], 30),  # holds inside each other count once
        ([span(0, 60)], [span(10, 40), span(40, 50)], 20),
        ([span(0, 60)], [span(-30, 10), span(50, 90)], 40),  # holds that begin before, end after
        ([span(0, 60), span(0, 60)], [span(10, 40)], 60),  # a hold stops both valeters
        ([span(0, 60)], [span(0, 60)], 0),
        ([span(0, 60)], [span(70, 90)], 60),
        ([span(0, 10.49)], [], 10),
        ([span(0, 10.5)], [], 11),
        ([span(0, 0.4), span(1, 1.4)], [], 1),  # rounded once, at the end
        ([span(30, 0)], [], 0),  # an impossible spell counts nothing
    ],
)
def test_minutes_are_what_was_worked_outside_the_holds(
    spells: list[Span], holds: list[Span], minutes: int
) -> None:
    assert minutes_of(spells, holds) == minutes


@given(SPANS, st.lists(SPANS, max_size=6))
def test_it_agrees_with_counting_the_seconds_one_by_one(spell: Span, holds: list[Span]) -> None:
    waiting = set().union(*map(covered, holds)) if holds else set()
    assert seconds_outside(spell, holds) == len(covered(spell) - waiting)


@given(st.lists(SPANS, max_size=5), st.lists(SPANS, max_size=5))
def test_the_order_of_holds_and_telling_them_twice_change_nothing(
    spells: list[Span], holds: list[Span]
) -> None:
    assert minutes_of(spells, holds) == minutes_of(spells, [*reversed(holds), *holds])


@given(st.lists(SPANS, max_size=5), st.lists(SPANS, max_size=5), SPANS)
def test_another_hold_never_adds_work(spells: list[Span], holds: list[Span], another: Span) -> None:
    assert minutes_of(spells, [*holds, another]) <= minutes_of(spells, holds)


@given(SPANS, st.lists(SPANS, max_size=6))
def test_a_stretch_within_another_is_what_both_cover(whole: Span, spans: list[Span]) -> None:
    parts = within(spans, whole)
    assert [covered(part) for part in parts] == [
        both for stretch in spans if (both := covered(stretch) & covered(whole))
    ]


RUNS = st.lists(st.tuples(st.sampled_from(PEOPLE), st.sampled_from(CARS), SPANS), max_size=6)
HOLDS = st.dictionaries(st.sampled_from(CARS), st.lists(SPANS, max_size=3))


def second_by_second(clocks: list[Clock], holds: dict[UUID, list[Span]]) -> dict[UUID, set[int]]:
    """Give each second of a person to the clock started last: a way of its own to the answer."""
    waits = {car: set().union(*map(covered, spans)) for car, spans in holds.items() if spans}
    found: dict[UUID, set[int]] = {task_clock.key: set() for task_clock in clocks}
    in_order = sorted(clocks, key=lambda task_clock: (task_clock.span.start, task_clock.key))
    for second in range(DAY_SECONDS):
        last: dict[object, Clock] = {}
        for task_clock in in_order:
            if second in covered(task_clock.span) - waits.get(task_clock.car, set()):
                last[task_clock.person or task_clock.key] = task_clock
        for task_clock in last.values():
            found[task_clock.key].add(second)
    return found


@given(RUNS, HOLDS)
def test_each_second_of_a_person_counts_for_the_clock_started_last(
    runs: list[tuple[UUID | None, UUID, Span]], holds: dict[UUID, list[Span]]
) -> None:
    clocks = [clock(10 + number, *run) for number, run in enumerate(runs)]
    worked = counted(clocks, holds)
    assert worked == counted(clocks[::-1], holds)
    seconds_each = {
        key: set().union(*map(covered, spans)) if spans else set() for key, spans in worked.items()
    }
    assert seconds_each == second_by_second(clocks, holds)


def test_a_forgotten_clock_takes_nothing_from_the_work_after_it() -> None:
    """Started at nine and never ended: only the gaps between the later tasks are its own."""
    tam, car = PEOPLE[0], CARS[0]
    forgotten = clock(10, tam, car, span(0, 480))
    later = [clock(11, tam, car, span(30, 90)), clock(12, tam, car, span(100, 460))]
    worked = counted([forgotten, *later], {})
    assert [seconds_of(worked[task_clock.key]) / 60 for task_clock in later] == [60, 360]
    assert worked[forgotten.key] == [span(0, 30), span(90, 100), span(460, 480)]


def test_of_two_clocks_started_at_once_the_one_made_last_counts() -> None:
    tam, car = PEOPLE[0], CARS[0]
    first, last = (clock(number, tam, car, span(0, 30)) for number in (10, 11))
    assert counted([last, first], {}) == {first.key: [], last.key: [span(0, 30)]}


def test_a_hold_gives_the_time_to_the_clock_on_the_other_car() -> None:
    tam, (here, there) = PEOPLE[0], CARS
    first, last = clock(10, tam, here, span(0, 60)), clock(11, tam, there, span(20, 60))
    worked = counted([first, last], {there: [span(30, 40)]})
    assert worked[first.key] == [span(0, 20), span(30, 40)]
    assert worked[last.key] == [span(20, 30), span(40, 60)]


@given(st.lists(SPANS, max_size=8))
def test_merged_spans_lie_apart_in_order_and_cover_the_same_time(spans: list[Span]) -> None:
    joined = merged(spans)
    assert all(stretch.end < after.start for stretch, after in pairwise(joined))
    assert all(stretch.start < stretch.end for stretch in joined)
    before = set().union(*map(covered, spans)) if spans else set()
    after = set().union(*map(covered, joined)) if joined else set()
    assert before == after
