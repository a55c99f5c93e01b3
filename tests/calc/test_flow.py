"""Where a car's time went: every second has one cause, and together they are the whole."""

from collections.abc import Iterable
from datetime import UTC, datetime, timedelta

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from jobs.work.calc.flow.course import (
    CAUSES,
    STAGES,
    CarTimes,
    Cause,
    Delay,
    Entry,
    Split,
    cause_of,
    split,
)
from jobs.work.calc.flow.figures import (
    Edges,
    Totals,
    edges_of,
    limiting,
    little,
    load_of,
    quantiles,
    stage_flows,
    total_of,
    total_of_many,
)
from jobs.work.calc.stages.machine import Stage
from jobs.work.calc.tasks.worktime import Span

NINE = datetime(2027, 3, 1, 9, 0, tzinfo=UTC)
LAST = 600


def at(minutes: float) -> datetime:
    """Return a time so many minutes after nine."""
    return NINE + timedelta(minutes=minutes)


def span(start: float, end: float) -> Span:
    return Span(at(start), at(end))


def minutes(times: CarTimes, *, ready: float = 240) -> tuple[dict[str, float], dict[str, float]]:
    """Return the parts, and what was waited for, in minutes and by short names."""
    found = split(times, arrived_at=at(0), ready_at=at(ready))
    assert sum(found.parts.values()) == found.lead_seconds == ready * 60
    parts = {f"{stage} {cause}": seconds / 60 for (stage, cause), seconds in found.parts.items()}
    return parts, {str(stage): seconds / 60 for stage, seconds in found.waited_for.items()}


WAY = (Entry(Stage.CLEANING, at(60)), Entry(Stage.CORRECTION, at(150)), Entry(Stage.READY, at(240)))


def test_a_car_that_nobody_noted_anything_about_waited_for_people_of_each_stage() -> None:
    parts, waited = minutes(CarTimes(moves=WAY))
    assert parts == {
        "intake nobody_on_it": 60,
        "cleaning nobody_on_it": 90,
        "correction nobody_on_it": 90,
    }
    assert waited == {"cleaning": 60 + 90, "correction": 90}


def test_what_waits_after_the_last_work_waits_for_the_next_stage() -> None:
    spells = [span(70, 100), span(110, 130), span(160, 200)]
    parts, waited = minutes(CarTimes(moves=WAY, spells=spells))
    assert parts["cleaning working"] == 50
    assert parts["cleaning nobody_on_it"] == 40
    assert waited == {
        "cleaning": 60 + 10 + 10,
        "correction": 20 + 10,
        "ready": 40,
    }


def test_two_people_at_once_are_one_stretch_of_work_and_twice_the_minutes_of_people() -> None:
    spells = [span(60, 120), span(90, 150)]
    found = split(CarTimes(moves=WAY, spells=spells), arrived_at=at(0), ready_at=at(240))
    assert found.parts[Stage.CLEANING, Cause.WORKING] == 90 * 60
    assert found.person_seconds == 120 * 60


def test_a_hold_stops_the_work_and_the_one_that_began_first_is_the_cause() -> None:
    holds = [Delay(Cause.PARTS, span(100, 130)), Delay(Cause.DECISION, span(80, 110))]
    times = CarTimes(moves=WAY, holds=holds, spells=[span(60, 150)])
    parts, _ = minutes(times)
    assert parts["cleaning working"] == 40
    assert parts["cleaning decision"] == 30
    assert parts["cleaning parts"] == 20
    found = split(times, arrived_at=at(0), ready_at=at(240))
    assert found.person_seconds == 40 * 60


def test_a_car_waits_for_the_clock_that_ends_last_unless_somebody_works_on_it() -> None:
    clocks = [Delay(Cause.DRYING, span(150, 190)), Delay(Cause.CURE, span(160, 220))]
    parts, waited = minutes(CarTimes(moves=WAY, spells=[span(170, 180)], clocks=clocks))
    assert parts["correction drying"] == 10
    assert parts["correction cure"] == 50
    assert parts["correction working"] == 10
    assert parts["correction nobody_on_it"] == 20
    assert waited["ready"] == 20


def test_time_as_ready_until_it_went_back_is_told_apart() -> None:
    back = (
        Entry(Stage.CLEANING, at(10)),
        Entry(Stage.READY, at(60)),
        Entry(Stage.CLEANING, at(100)),
        Entry(Stage.READY, at(120)),
    )
    parts, waited = minutes(CarTimes(moves=back), ready=120)
    assert parts["ready nobody_on_it"] == 40
    assert "ready" not in waited


def test_what_lies_before_arrival_and_after_ready_does_not_count() -> None:
    spells = [span(-60, 10), span(230, 400)]
    found = split(CarTimes(moves=WAY, spells=spells), arrived_at=at(0), ready_at=at(240))
    assert found.parts[Stage.INTAKE, Cause.WORKING] == 10 * 60
    assert found.parts[Stage.CORRECTION, Cause.WORKING] == 10 * 60
    assert found.person_seconds == 20 * 60


def test_a_move_told_with_an_earlier_time_keeps_its_place() -> None:
    moves = (Entry(Stage.CLEANING, at(60)), Entry(Stage.CORRECTION, at(30)), WAY[-1])
    parts, _ = minutes(CarTimes(moves=moves))
    assert parts == {"intake nobody_on_it": 60, "correction nobody_on_it": 180}


def test_a_clock_that_had_ready_come_first_leaves_no_time() -> None:
    found = split(CarTimes(moves=WAY), arrived_at=at(240), ready_at=at(0))
    assert found == Split(0)


def test_one_instant_has_one_cause() -> None:
    held, clocks = [Cause.PARTS, Cause.WEATHER], [Cause.CURE]
    assert cause_of(held=held, worked_on=True, clocks=clocks) is Cause.PARTS
    assert cause_of(held=[], worked_on=True, clocks=clocks) is Cause.WORKING
    assert cause_of(held=[], worked_on=False, clocks=clocks) is Cause.CURE
    assert cause_of(held=[], worked_on=False, clocks=[]) is Cause.NOBODY


SECONDS = st.integers(-60, LAST + 60)
SPANS = st.builds(
    lambda start, end: Span(
        NINE + timedelta(seconds=start, milliseconds=300), NINE + timedelta(seconds=end)
    ),
    SECONDS,
    SECONDS,
)
HELD = st.builds(Delay, st.sampled_from(CAUSES[2:6]), SPANS)
RUNNING = st.builds(Delay, st.sampled_from(CAUSES[5:]), SPANS)
MOVES = st.lists(
    st.builds(
        lambda stage, second: Entry(stage, NINE + timedelta(seconds=second)),
        st.sampled_from(STAGES),
        SECONDS,
    ),
    max_size=6,
)
TIMES = st.builds(
    CarTimes,
    MOVES,
    st.lists(HELD, max_size=4),
    st.lists(SPANS, max_size=4),
    st.lists(RUNNING, max_size=3),
)


def whole(times: CarTimes) -> Split:
    return split(times, arrived_at=NINE, ready_at=NINE + timedelta(seconds=LAST))


@given(TIMES)
def test_the_parts_add_up_to_the_time_from_arrival_to_ready_exactly(times: CarTimes) -> None:
    found = whole(times)
    assert sum(found.parts.values()) == found.lead_seconds == LAST
    assert all(part > 0 for part in found.parts.values())


@given(TIMES)
def test_it_agrees_with_asking_every_second_for_its_cause(times: CarTimes) -> None:
    def there(stretch: Span, moment: datetime) -> bool:
        return stretch.start.replace(microsecond=0) <= moment < stretch.end.replace(microsecond=0)

    counted: dict[tuple[Stage, Cause], int] = {}
    for second in range(LAST):
        moment = NINE + timedelta(seconds=second)
        stage, since = Stage.INTAKE, NINE
        for move in times.moves:
            since = max(since, move.at)
            stage = move.stage if since <= moment else stage
        held = sorted(
            (hold for hold in times.holds if there(hold.span, moment)),
            key=lambda hold: (hold.span.start.replace(microsecond=0), hold.span.end, hold.cause),
        )
        clocks = sorted(
            (clock for clock in times.clocks if there(clock.span, moment)),
            key=lambda clock: (-clock.span.end.timestamp(), clock.cause),
        )
        cause = cause_of(
            held=[hold.cause for hold in held],
            worked_on=any(there(spell, moment) for spell in times.spells),
            clocks=[clock.cause for clock in clocks],
        )
        counted[stage, cause] = counted.get((stage, cause), 0) + 1
    assert whole(times).parts == counted


@given(TIMES)
def test_waiting_for_people_is_nobody_on_it_outside_ready_and_order_changes_nothing(
    times: CarTimes,
) -> None:
    found = whole(times)
    nobody = sum(
        seconds
        for (stage, cause), seconds in found.parts.items()
        if cause is Cause.NOBODY and stage is not Stage.READY
    )
    assert sum(found.waited_for.values()) == nobody
    turned = CarTimes(
        times.moves, list(times.holds)[::-1], list(times.spells)[::-1], list(times.clocks)[::-1]
    )
    assert whole(turned) == found


@given(st.lists(TIMES, max_size=5))
def test_figures_of_stages_add_up_to_the_cars(many: list[CarTimes]) -> None:
    totals = total_of(whole(times) for times in many)
    flows = stage_flows(totals, period_seconds=3600)
    assert sum(flow.seconds for flow in flows) == totals.lead_seconds == LAST * len(many)
    assert sum(flow.inside for flow in flows) == pytest.approx(LAST * len(many) / 3600)
    assert sum(flow.share for flow in flows) == pytest.approx(1.0 if many else 0.0)
    assert total_of_many(total_of([whole(times)]) for times in many) == totals


def test_the_limiting_stage_is_whose_people_take_most_of_the_time() -> None:
    queue_before_correction = [
        split(
            CarTimes(moves=WAY, spells=[span(60, 90), span(150, 240)]),
            arrived_at=at(50),
            ready_at=at(240),
        )
    ]
    most = limiting(stage_flows(total_of(queue_before_correction), period_seconds=1))
    assert most is not None
    assert most.stage is Stage.CORRECTION
    assert most.of_people == (60 + 90) * 60
    assert limiting(stage_flows(Totals(), period_seconds=1)) is None


@given(st.lists(st.integers(0, 10**6), min_size=1, max_size=60))
def test_quantiles_are_the_nearest_rank_as_numpy_has_it(seconds: list[int]) -> None:
    found = quantiles(seconds)
    assert found is not None
    assert found.p50 == np.quantile(seconds, 0.5, method="inverted_cdf")
    assert found.p80 == np.quantile(seconds, 0.8, method="inverted_cdf")
    assert found.few is (len(seconds) < 10)


def test_no_cars_have_no_quantiles() -> None:
    assert quantiles([]) is None


def second_of(count: int) -> datetime:
    return NINE + timedelta(seconds=count)


def littles(cars: Iterable[tuple[int, int]], since: int, until: int) -> tuple[float, float, int]:
    """Return the mean number inside by counting each second, the law's, and cars finished."""
    known = list(cars)
    counted = sum(sum(a <= now < r for a, r in known) for now in range(since, until))
    done = [(a, r) for a, r in known if since <= r < until]
    edges = edges_of(
        [(second_of(a), second_of(r)) for a, r in known],
        start=second_of(since),
        end=second_of(until),
    )
    found = little(
        period_seconds=until - since,
        finished=len(done),
        lead_seconds=sum(r - a for a, r in done),
        edges=edges,
    )
    came = sum(since <= a < until for a, _ in known)
    assert edges.inside_at_start + came == edges.inside_at_end + len(done)
    assert found.inside == pytest.approx(found.by_law - found.before + found.unfinished)
    assert found.difference == pytest.approx(found.unfinished - found.before)
    return counted / (until - since), found.inside, len(done)


@given(st.lists(st.tuples(st.integers(0, 90), st.integers(0, 60)), max_size=12))
def test_the_number_inside_is_what_counting_every_second_gives(cars: list[tuple[int, int]]) -> None:
    counted, inside, _ = littles([(a, a + stay) for a, stay in cars], 20, 80)
    assert inside == pytest.approx(counted)


def test_a_car_still_in_work_is_inside_at_the_end() -> None:
    edges = edges_of([(at(-30), None), (at(10), None)], start=at(0), end=at(60))
    assert edges == Edges(1, 2, 0.0, (60 + 50) * 60.0)


def test_littles_law_is_exact_where_nothing_is_cut_off() -> None:
    """Little (1961): ten cars that take two hours each in twenty hours are one at a time."""
    found = little(
        period_seconds=20 * 3600,
        finished=10,
        lead_seconds=10 * 7200,
        edges=Edges(),
    )
    assert found.inside == found.by_law == 1.0
    assert found.difference == 0.0
    with pytest.raises(ValueError, match="length"):
        little(period_seconds=0, finished=0, lead_seconds=0, edges=Edges())


def test_a_load_is_person_minutes_over_the_minutes_there_are() -> None:
    totals = Totals(cars=24, person_seconds=24 * 2 * 3600)  # two hours a car
    load = load_of(totals, minutes_there=3600, longest_day_minutes=480)
    assert load is not None
    assert load.people == 1
    assert load.share == pytest.approx(0.8)
    assert load.now is not None
    assert load.now.wait == pytest.approx(480)  # M/M/1: 0.8 / 0.2 of two hours
    assert load.busier is not None
    assert load.busier.load == pytest.approx(0.88)


@pytest.mark.parametrize("minutes", [7, 480, 481, 1439, 7919])
@pytest.mark.parametrize("cars", [1, 7, 49])
@pytest.mark.parametrize("people", [1, 3])
@pytest.mark.parametrize("percent", [98, 99, 100, 101, 250])
def test_at_and_near_a_full_load_there_is_no_wait_to_tell(
    minutes: int, cars: int, people: int, percent: int
) -> None:
    """At exactly 100 % it raised or told 5e17 minutes, as the rounding fell."""
    there = minutes * people * 100
    totals = Totals(cars=cars, person_seconds=minutes * people * percent * 60)
    load = load_of(totals, minutes_there=there, longest_day_minutes=480 * people)
    assert load is not None
    assert load.people == people
    assert (load.now, load.busier) == (None, None)


def test_just_below_the_cut_a_tenth_more_cars_are_too_many() -> None:
    totals = Totals(cars=10, person_seconds=97 * 60)
    load = load_of(totals, minutes_there=100, longest_day_minutes=480)
    assert load is not None
    assert load.now is not None
    assert load.now.wait < 60 * 9.7
    assert load.busier is None


def test_a_load_beyond_what_there_is_has_no_queue_and_none_set_no_load() -> None:
    totals = Totals(cars=24, person_seconds=24 * 2 * 3600)
    full = load_of(totals, minutes_there=2880, longest_day_minutes=960)
    assert full is not None
    assert (full.people, full.share, full.now, full.busier) == (2, 1.0, None, None)
    assert load_of(totals, minutes_there=0, longest_day_minutes=0) is None
    assert load_of(Totals(), minutes_there=100, longest_day_minutes=100) is None
