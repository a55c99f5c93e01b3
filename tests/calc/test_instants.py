"""Sums of times on the days when the clocks change, in zones that change by an hour and by half."""

from datetime import UTC, datetime, timedelta, tzinfo
from uuid import UUID
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from jobs.work.calc.flow.course import CarTimes, Entry, split
from jobs.work.calc.flow.figures import edges_of, little
from jobs.work.calc.instants import minutes_between, to_utc
from jobs.work.calc.stages.machine import Stage
from jobs.work.calc.tasks.worktime import Clock, Span, counted, merged, seconds_outside

# Europe/London changes by an hour, Australia/Lord_Howe by half an hour (tz database).
ZONES = [ZoneInfo("Europe/London"), ZoneInfo("Australia/Lord_Howe")]
# The days the clocks change in 2026 and 2027, in either zone.
CHANGES = [(2026, 3, 29), (2026, 10, 25), (2026, 4, 5), (2026, 10, 4), (2027, 3, 28)]
Instants = list[datetime]


@st.composite
def near_a_change(draw: st.DrawFn, *, count: int) -> tuple[tzinfo, Instants]:
    """Return a zone and instants in UTC within two days of a change of the clocks."""
    noon = datetime(*draw(st.sampled_from(CHANGES)), 12, tzinfo=UTC)
    seconds = draw(st.lists(st.integers(-172_800, 172_800), min_size=count, max_size=count))
    zone: tzinfo = draw(st.sampled_from(ZONES))
    return zone, [noon + timedelta(seconds=second) for second in seconds]


@given(near_a_change(count=2))
def test_elapsed_minutes_are_the_same_in_every_zone(drawn: tuple[tzinfo, Instants]) -> None:
    zone, (start, end) = drawn
    local = minutes_between(start.astimezone(zone), end.astimezone(zone))
    assert local == (end - start).total_seconds() / 60
    assert Span(start.astimezone(zone), end.astimezone(zone)) == Span(start, end)


@given(near_a_change(count=8))
def test_work_and_holds_add_up_the_same_in_every_zone(drawn: tuple[tzinfo, Instants]) -> None:
    zone, instants = drawn

    def worked_spans(work: list[Span], holds: list[Span]) -> object:
        car = UUID(int=1)
        clocks = [Clock(UUID(int=nth), car, car, span) for nth, span in enumerate(work)]
        return counted(clocks, {car: holds})

    def spans(among: Instants) -> list[Span]:
        return [Span(*sorted(among[nth : nth + 2], key=to_utc)) for nth in range(0, len(among), 2)]

    here = [instant.astimezone(zone) for instant in instants]
    assert merged(spans(here)) == merged(spans(instants))
    work, holds = spans(instants[:4]), spans(instants[4:])
    local_work, local_holds = spans(here[:4]), spans(here[4:])
    assert worked_spans(local_work, local_holds) == worked_spans(work, holds)
    assert seconds_outside(local_work[0], local_holds) == seconds_outside(work[0], holds)


@given(near_a_change(count=4))
def test_a_cars_time_splits_the_same_in_every_zone(drawn: tuple[tzinfo, Instants]) -> None:
    zone, instants = drawn
    ordered = sorted(instants)

    def parts(arrived: datetime, moved: datetime, again: datetime, ready: datetime) -> object:
        moves = [Entry(Stage.CLEANING, moved), Entry(Stage.READY, again)]
        spells = [Span(moved, again)]
        return split(CarTimes(moves, spells=spells), arrived_at=arrived, ready_at=ready)

    here = [instant.astimezone(zone) for instant in ordered]
    assert parts(*here) == parts(*ordered)


@given(near_a_change(count=4))
def test_what_a_period_cuts_off_is_the_same_in_every_zone(drawn: tuple[tzinfo, Instants]) -> None:
    zone, instants = drawn
    arrived, ready = sorted(instants[:2])
    start, end = sorted(instants[2:])
    here = [instant.astimezone(zone) for instant in (arrived, ready, start, end)]
    local = edges_of([(here[0], here[1]), (here[0], None)], start=here[2], end=here[3])
    assert local == edges_of([(arrived, ready), (arrived, None)], start=start, end=end)


def test_one_car_inside_through_the_day_the_clocks_go_forward_is_one_car() -> None:
    """Little (1961): it was 1.04, since the day counted as 24 hours and the car's time as 23."""
    london = ZoneInfo("Europe/London")
    start, end = (datetime(2026, 3, day, tzinfo=london) for day in (29, 30))
    stay = (start - timedelta(days=1), end + timedelta(days=1))
    edges = edges_of([stay], start=start, end=end)
    found = little(period_seconds=Span(start, end).seconds, finished=0, lead_seconds=0, edges=edges)
    assert found.inside == 1.0


def test_a_time_without_a_zone_is_refused() -> None:
    naive = datetime(2026, 3, 29, 1, 30)  # noqa: DTZ001  it is what is refused
    with pytest.raises(ValueError, match="zone"):
        Span(naive, naive)
