"""What to do next about a car, and the order of a day's cars."""

from dataclasses import replace
from datetime import UTC, datetime, timedelta

import pytest

from jobs.work.calc.stages.machine import Decision, Stage, State
from jobs.work.calc.stages.next_step import (
    Car,
    Code,
    Group,
    NextStep,
    Progress,
    TaskAt,
    group_of,
    next_stage,
    next_step,
    order_of,
)

TEN = datetime(2027, 3, 1, 10, tzinfo=UTC)
HERE = State(decision=Decision.ACCEPTED, arrived=True)
WASH = TaskAt("Wash and dry the body", Stage.CLEANING, Progress.WANTED)
VACUUM = TaskAt("Vacuum the interior", Stage.CLEANING, Progress.WANTED)
POLISH = TaskAt("Spot-polish marks by machine", Stage.CORRECTION, Progress.WANTED)


def finished(task: TaskAt) -> TaskAt:
    """Return the task as it is when it is done."""
    return replace(task, progress=Progress.FINISHED)


def at(stage: Stage, *tasks: TaskAt, waits_until: datetime | None = None) -> Car:
    """Return a car at a stage, walked round."""
    return Car(
        replace(HERE, stage=stage), tasks, waits_until=waits_until, walked_in=True, walked_out=True
    )


def test_an_order_nobody_has_accepted_waits_for_a_manager() -> None:
    assert next_step(Car(State())) == NextStep(
        Code.ACCEPT, "Waits for a manager to accept the order"
    )


def test_a_car_to_come_has_its_arrival_to_be_recorded() -> None:
    step = next_step(Car(State(decision=Decision.ACCEPTED), (WASH,)))
    assert (step.code, step.words) == (Code.ARRIVAL, "Record its arrival")


def test_a_car_that_came_is_walked_round_first() -> None:
    assert next_step(Car(HERE, (WASH,))).words == "Walk round it"


def test_a_car_walked_round_goes_on_to_cleaning() -> None:
    step = next_step(at(Stage.INTAKE, WASH))
    assert (step.code, step.to, step.words) == (Code.MOVE, Stage.CLEANING, "Move to cleaning")


def test_the_first_task_of_the_stage_is_started() -> None:
    step = next_step(at(Stage.CLEANING, finished(WASH), VACUUM, POLISH))
    assert (step.code, step.words) == (Code.START, "Start: vacuum the interior")


def test_a_task_left_from_an_earlier_stage_comes_after_those_of_this_one() -> None:
    step = next_step(at(Stage.CORRECTION, VACUUM, POLISH))
    assert step.task == POLISH.name
    assert next_step(at(Stage.CORRECTION, VACUUM, finished(POLISH))).task == VACUUM.name


def test_a_running_task_is_finished_before_anything_else() -> None:
    running = replace(VACUUM, progress=Progress.RUNNING, since=TEN)
    step = next_step(at(Stage.CLEANING, WASH, running))
    assert step.code is Code.FINISH
    assert step.words == "Finish: vacuum the interior, running since"
    assert step.moment == TEN


def test_a_paused_task_is_taken_up_before_another_is_started() -> None:
    paused = replace(VACUUM, progress=Progress.PAUSED)
    assert next_step(at(Stage.CLEANING, WASH, paused)).words == "Go on with: vacuum the interior"


@pytest.mark.parametrize(
    ("stage", "tasks", "waits", "to"),
    [
        (Stage.INTAKE, (WASH, POLISH), False, Stage.CLEANING),
        (Stage.INTAKE, (POLISH,), False, Stage.CORRECTION),
        (Stage.INTAKE, (), False, Stage.CLEANING),
        (Stage.CLEANING, (finished(WASH), POLISH), False, Stage.CORRECTION),
        (Stage.CLEANING, (finished(WASH),), False, Stage.READY),
        (Stage.CLEANING, (finished(WASH),), True, Stage.CURING),
        (Stage.CLEANING, (POLISH,), True, Stage.CORRECTION),
        (Stage.CORRECTION, (finished(POLISH),), True, Stage.CURING),
        (Stage.CORRECTION, (finished(POLISH),), False, Stage.READY),
        (Stage.CURING, (), False, Stage.READY),
    ],
)
def test_the_next_stage_follows_from_what_is_left(
    stage: Stage, tasks: tuple[TaskAt, ...], to: Stage, *, waits: bool
) -> None:
    assert next_stage(stage, tasks, waits=waits) is to


def test_a_curing_car_waits_and_then_goes_to_ready() -> None:
    until = TEN + timedelta(hours=5)
    step = next_step(at(Stage.CURING, finished(POLISH), waits_until=until))
    assert (step.code, step.words, step.moment) == (Code.CURES, "Cures until", until)
    assert next_step(at(Stage.CURING, finished(POLISH))).words == "Move to ready"


def test_what_ought_to_be_dry_is_felt_also_while_something_else_cures() -> None:
    until = TEN + timedelta(hours=5)
    damp = replace(at(Stage.CURING, finished(POLISH)), to_feel="Wet extraction of seats")
    step = next_step(damp)
    assert (step.code, step.words) == (
        Code.TOUCH,
        "Feel whether it is dry: wet extraction of seats",
    )
    assert (step.task, damp.waits) == ("Wet extraction of seats", True)
    assert group_of(damp, step) is Group.WORK  # it waits for a person, not for time
    assert next_step(replace(damp, waits_until=until)) == step  # damp seats want air the sooner
    assert next_step(replace(damp, state=replace(HERE, stage=Stage.CLEANING))).to is Stage.CURING


def test_a_hold_says_what_it_waits_for() -> None:
    held = Car(replace(HERE, holds=2), (WASH,), holds=("decision", "parts"), walked_in=True)
    step = next_step(held)
    assert (step.code, step.words) == (
        Code.HELD,
        "Waits for the dealer's decision and parts",
    )


def test_what_the_dealer_changed_is_seen_before_the_work_goes_on() -> None:
    changed = replace(at(Stage.CLEANING, WASH), changes_to_see=1)
    assert next_step(changed).words == "See what the dealer changed"


def test_a_ready_car_is_walked_round_then_gets_its_things_back_then_is_handed_over() -> None:
    ready = at(Stage.READY, finished(WASH))
    left = replace(ready, walked_out=False, things_here=1)
    assert next_step(left).code is Code.WALK_ROUND_OUT
    assert next_step(replace(left, walked_out=True)).code is Code.GIVE_BACK
    assert next_step(ready).words == "Hand it over"


def test_a_cancelled_car_that_stands_here_is_to_be_collected() -> None:
    cancelled = Car(replace(HERE, cancelled=True), (WASH,), walked_out=True)
    step = next_step(cancelled)
    assert step.words == "Cancelled: have it collected"
    assert group_of(cancelled, step) is Group.READY


@pytest.mark.parametrize(
    "state",
    [
        State(decision=Decision.DECLINED),
        State(decision=Decision.ACCEPTED, cancelled=True),
        replace(HERE, collected=True),
    ],
)
def test_nothing_is_next_for_a_car_that_is_over(state: State) -> None:
    assert next_step(Car(state)).code is Code.OVER


def test_an_abbreviation_keeps_its_capitals_in_a_sentence() -> None:
    lamps = TaskAt("LED lamps", Stage.CLEANING, Progress.WANTED)
    assert next_step(at(Stage.CLEANING, lamps)).words == "Start: LED lamps"


def test_cars_come_in_the_order_to_work_them() -> None:
    coming = Car(State(decision=Decision.ACCEPTED))
    held = Car(replace(HERE, holds=1, stage=Stage.CLEANING), holds=("parts",))
    curing = at(Stage.CURING, waits_until=TEN)
    cars = {
        "ready": (at(Stage.READY), TEN, TEN),
        "coming": (coming, TEN, None),
        "curing": (curing, TEN, TEN),
        "held, due later": (held, TEN + timedelta(hours=1), TEN),
        "here": (Car(HERE), TEN, TEN),
        "no time given": (at(Stage.CLEANING, WASH), None, TEN),
        "came later": (at(Stage.CLEANING, WASH), TEN, TEN + timedelta(hours=1)),
        "came first": (at(Stage.CLEANING, WASH), TEN, TEN),
        "due first": (at(Stage.CORRECTION), TEN - timedelta(hours=1), TEN),
    }

    def place(name: str) -> tuple[Group, datetime, datetime]:
        car, due_at, arrived_at = cars[name]
        return order_of(car, next_step(car), due_at=due_at, arrived_at=arrived_at)

    assert sorted(cars, key=place) == [
        "due first",
        "came first",
        "came later",
        "no time given",
        "here",
        "curing",
        "held, due later",
        "coming",
        "ready",
    ]
