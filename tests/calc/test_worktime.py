"""Working minutes: holds are taken out, several valeters add up."""

from datetime import UTC, datetime, timedelta
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from jobs.calc.worktime import Span, merged, seconds_outside, worked_minutes

NINE = datetime(2027, 3, 1, 9, 0, tzinfo=UTC)
DAY_SECONDS = 240


def span(start: float, end: float) -> Span:
    """Return a span in minutes after nine o'clock."""
    return Span(NINE + timedelta(minutes=start), NINE + timedelta(minutes=end))


def seconds(start: int, end: int) -> Span:
    return Span(NINE + timedelta(seconds=start), NINE + timedelta(seconds=end))


SPANS = st.builds(seconds, st.integers(0, DAY_SECONDS), st.integers(0, DAY_SECONDS))


def covered(one: Span) -> set[int]:
    """Count second by second, a way of its own to the same answer."""
    first = round((one.start - NINE).total_seconds())
    last = round((one.end - NINE).total_seconds())
    return set(range(first, last))


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
    assert worked_minutes(spells, holds) == minutes


@given(SPANS, st.lists(SPANS, max_size=6))
def test_it_agrees_with_counting_the_seconds_one_by_one(spell: Span, holds: list[Span]) -> None:
    waiting = set().union(*map(covered, holds)) if holds else set()
    assert seconds_outside(spell, holds) == len(covered(spell) - waiting)


@given(st.lists(SPANS, max_size=5), st.lists(SPANS, max_size=5))
def test_the_order_of_holds_and_telling_them_twice_change_nothing(
    spells: list[Span], holds: list[Span]
) -> None:
    assert worked_minutes(spells, holds) == worked_minutes(spells, [*reversed(holds), *holds])


@given(st.lists(SPANS, max_size=5), st.lists(SPANS, max_size=5), SPANS)
def test_another_hold_never_adds_work(spells: list[Span], holds: list[Span], another: Span) -> None:
    assert worked_minutes(spells, [*holds, another]) <= worked_minutes(spells, holds)


@given(st.lists(SPANS, max_size=8))
def test_merged_spans_lie_apart_in_order_and_cover_the_same_time(spans: list[Span]) -> None:
    joined = merged(spans)
    assert all(one.end < after.start for one, after in pairwise(joined))
    assert all(one.start < one.end for one in joined)
    before = set().union(*map(covered, spans)) if spans else set()
    after = set().union(*map(covered, joined)) if joined else set()
    assert before == after
