"""The stage machine: every move that is allowed, every guard, and that history replays to it."""

from functools import partial
from itertools import product

import pytest
from hypothesis import given
from hypothesis import strategies as st

from jobs.work.calc.stages.machine import (
    Decision,
    Kind,
    Refusal,
    Stage,
    State,
    Step,
    apply,
    is_rework,
    moves_from,
    refuse_arrival,
    refuse_closed,
    refuse_collection,
    refuse_decision,
    refuse_move,
    refuse_work,
    replay,
)

# From the row to the column: "." no such move, "on" forward, "wait" forward but not while a clock
# runs, "back" rework.
TABLE = """
            intake  cleaning  correction  curing  ready
intake      .       on        on          .       .
cleaning    .       .         on          on      wait
correction  .       back      .           on      wait
curing      .       back      back        .       wait
ready       .       back      back        .       .
"""
_LINES = [line.split() for line in TABLE.strip().splitlines()]
MOVES = [
    (Stage(row[0]), Stage(to), kind)
    for row in _LINES[1:]
    for to, kind in zip(_LINES[0], row[1:], strict=True)
]
AT_WORK = State(decision=Decision.ACCEPTED, arrived=True, version=3)

# A job nothing more can be done to, with the code that says why.
CLOSED = [
    (State(decision=Decision.DECLINED), "declined"),
    (State(decision=Decision.ACCEPTED, cancelled=True), "cancelled"),
    (State(decision=Decision.ACCEPTED, arrived=True, cancelled=True), "cancelled"),
    (
        State(stage=Stage.READY, decision=Decision.ACCEPTED, arrived=True, collected=True),
        "collected",
    ),
]
EVERY_STATE = [
    State(*values)
    for values in product(
        Stage, Decision, (False, True), (False, True), (False, True), (0, 1), (0,), (5,)
    )
]


def at(stage: Stage, holds: int = 0) -> State:
    return State(stage=stage, decision=Decision.ACCEPTED, arrived=True, holds=holds)


def code(refusal: Refusal | None) -> str:
    return refusal.code if refusal else "allowed"


def move(
    state: State, to: Stage, *, reason: str = "", running: bool = False, override: bool = False
) -> str:
    return code(refuse_move(state, to, reason=reason, clocks_running=running, override=override))


def test_the_table_covers_every_pair_of_stages() -> None:
    assert [(origin, to) for origin, to, _ in MOVES] == list(product(Stage, Stage))


@pytest.mark.parametrize(("origin", "to", "kind"), MOVES)
def test_a_move_is_allowed_exactly_where_the_table_says(
    origin: Stage, to: Stage, kind: str
) -> None:
    wanted = "no_such_move" if kind == "." else "allowed"
    assert move(at(origin), to, reason="The seat wicked up.") == wanted


@pytest.mark.parametrize(("origin", "to", "kind"), MOVES)
def test_going_back_needs_a_reason_and_counts_as_rework(
    origin: Stage, to: Stage, kind: str
) -> None:
    assert is_rework(origin, to) is (kind == "back")
    if kind == "back":
        assert move(at(origin), to) == "reason_needed"
    elif kind != ".":
        assert move(at(origin), to) == "allowed"


@pytest.mark.parametrize(("origin", "to", "kind"), [row for row in MOVES if row[2] != "."])
def test_a_running_clock_keeps_a_car_from_ready_and_from_nothing_else(
    origin: Stage, to: Stage, kind: str
) -> None:
    refused = move(at(origin), to, reason="So it is.", running=True)
    assert refused == ("clock_running" if kind == "wait" else "allowed")


def test_an_override_lets_a_car_pass_a_clock_with_a_reason_only() -> None:
    curing = at(Stage.CURING)
    assert move(curing, Stage.READY, running=True, override=True) == "reason_needed"
    passed = move(curing, Stage.READY, running=True, override=True, reason="Dry to the touch.")
    assert passed == "allowed"


def test_an_override_opens_no_move_that_is_not_there() -> None:
    refused = move(at(Stage.INTAKE), Stage.READY, override=True, reason="In a hurry.")
    assert refused == "no_such_move"


@pytest.mark.parametrize("to", Stage)
@pytest.mark.parametrize("origin", Stage)
def test_a_held_job_moves_nowhere(origin: Stage, to: Stage) -> None:
    assert move(at(origin, holds=2), to, reason="Go on.", override=True) == "held"


@pytest.mark.parametrize(("state", "why"), CLOSED)
def test_nothing_more_is_done_to_a_closed_job(state: State, why: str) -> None:
    assert not state.open
    assert code(refuse_closed(state)) == why
    assert code(refuse_work(state)) == why
    assert move(state, Stage.CLEANING, reason="Go on.") == why
    assert moves_from(state) == ()


def test_work_waits_for_acceptance_and_arrival() -> None:
    awaited = State()
    accepted = State(decision=Decision.ACCEPTED)
    assert code(refuse_work(awaited)) == "not_accepted"
    assert code(refuse_arrival(awaited)) == "not_accepted"
    assert code(refuse_work(accepted)) == "not_arrived"
    assert code(refuse_arrival(accepted)) == "allowed"
    assert code(refuse_work(AT_WORK)) == "allowed"
    assert code(refuse_arrival(AT_WORK)) == "arrived"


def test_an_order_is_decided_once() -> None:
    assert code(refuse_decision(State())) == "allowed"
    assert code(refuse_decision(State(cancelled=True))) == "cancelled"
    for made in (Decision.ACCEPTED, Decision.DECLINED):
        assert code(refuse_decision(State(decision=made))) == "decided"


@pytest.mark.parametrize(
    ("state", "reason", "answer"),
    [
        (at(Stage.READY), "", "allowed"),
        (at(Stage.CLEANING), "", "reason_needed"),
        (at(Stage.CLEANING), "The dealer wants it back.", "allowed"),
        (State(decision=Decision.ACCEPTED, arrived=True, cancelled=True), "", "allowed"),
        (State(decision=Decision.ACCEPTED), "", "not_arrived"),
        (State(decision=Decision.ACCEPTED, arrived=True, collected=True), "Again.", "collected"),
    ],
)
def test_a_car_is_collected_when_ready_or_cancelled_or_with_a_reason(
    state: State, reason: str, answer: str
) -> None:
    assert code(refuse_collection(state, reason=reason)) == answer


@pytest.mark.parametrize(
    ("state", "belongings", "danger", "answer"),
    [
        (at(Stage.READY), 0, False, "allowed"),
        (at(Stage.READY), 2, False, "belongings_here"),
        (at(Stage.READY), 0, True, "not_acknowledged"),
        (at(Stage.READY), 2, True, "not_acknowledged"),
        (at(Stage.CLEANING), 2, False, "belongings_here"),
        (
            State(decision=Decision.ACCEPTED, arrived=True, cancelled=True),
            0,
            True,
            "not_acknowledged",
        ),
        (State(decision=Decision.ACCEPTED), 2, True, "not_arrived"),
        (State(decision=Decision.ACCEPTED, arrived=True, collected=True), 2, True, "collected"),
    ],
)
def test_nothing_is_left_open_in_silence_when_a_car_is_collected(
    state: State,
    belongings: int,
    danger: bool,  # noqa: FBT001
    answer: str,
) -> None:
    left = partial(refuse_collection, state, belongings_here=belongings, not_to_be_driven=danger)
    assert code(left(reason="")) == answer
    if state.arrived and not state.collected:
        assert code(left(reason="No room.")) == "allowed"


@pytest.mark.parametrize("state", EVERY_STATE)
def test_the_moves_shown_are_exactly_those_not_refused(state: State) -> None:
    open_moves = {to for to in Stage if move(state, to, reason="So it is.") == "allowed"}
    assert {open_move.to for open_move in moves_from(state)} == open_moves


# Written out, so that a new kind has to be put on one side knowingly.
RAISING = {
    "received", "accepted", "declined", "changed", "cancelled", "arrived", "moved", "held",
    "released", "collected", "corrected",
}  # fmt: skip


@pytest.mark.parametrize("kind", Kind)
def test_what_concerns_the_whole_job_raises_the_version_by_one(kind: Kind) -> None:
    step = Step(kind, Stage.CLEANING if kind is Kind.MOVED else None)
    after = apply(AT_WORK, step)
    assert after.version - AT_WORK.version == (kind.value in RAISING)


def test_a_whole_history_replays_to_where_the_car_is() -> None:
    steps = [
        Step(Kind.RECEIVED),
        Step(Kind.ACCEPTED),
        Step(Kind.ARRIVED),
        Step(Kind.MOVED, Stage.CLEANING),
        Step(Kind.TASK_STARTED),
        Step(Kind.HELD),
        Step(Kind.HELD),
        Step(Kind.RELEASED),
        Step(Kind.TASK_FINISHED),
        Step(Kind.RELEASED),
        Step(Kind.MOVED, Stage.CURING),
        Step(Kind.MOVED, Stage.CLEANING),
        Step(Kind.MOVED, Stage.READY),
        Step(Kind.CHANGED),
        Step(Kind.COLLECTED),
    ]
    assert replay(steps[:8]).holds == 1
    assert replay(steps) == State(
        stage=Stage.READY,
        decision=Decision.ACCEPTED,
        arrived=True,
        collected=True,
        holds=0,
        rework=1,
        version=13,
    )


def test_an_empty_history_is_where_every_job_begins() -> None:
    assert replay([]) == State()


@given(st.lists(st.sampled_from(Stage), max_size=40))
def test_any_walk_the_machine_allows_counts_its_moves_and_its_rework(wishes: list[Stage]) -> None:
    steps = [Step(Kind.RECEIVED), Step(Kind.ACCEPTED), Step(Kind.ARRIVED)]
    state, went_back = replay(steps), 0
    for to in wishes:
        if move(state, to, reason="So it is.") != "allowed":
            continue
        went_back += list(Stage).index(to) < list(Stage).index(state.stage)
        state = apply(state, Step(Kind.MOVED, to))
        steps.append(Step(Kind.MOVED, to))
    assert state == replay(steps)
    assert state.version == len(steps)
    assert state.rework == went_back
