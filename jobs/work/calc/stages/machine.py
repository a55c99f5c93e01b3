"""The stage machine: which moves there are, what guards each, and how history replays.

intake, cleaning, correction, curing, ready, in this order, though not every car visits each.
Going back needs a reason and counts as rework. Arrival, collection and cancellation are facts
beside the stage; a hold overlays any stage. Pure: values in, values out.
"""

from collections.abc import Iterable
from dataclasses import dataclass, replace
from enum import StrEnum


class Stage(StrEnum):
    """Where a car is on its way."""

    INTAKE = "intake"
    CLEANING = "cleaning"
    CORRECTION = "correction"
    CURING = "curing"
    READY = "ready"


class Decision(StrEnum):
    """What the workshop said to a work order."""

    AWAITED = "awaited"
    ACCEPTED = "accepted"
    DECLINED = "declined"


class Kind(StrEnum):
    """What a history entry tells; those in VERSIONED raise the job's version by one."""

    RECEIVED = "received"
    ACCEPTED = "accepted"
    DECLINED = "declined"
    CHANGED = "changed"
    CANCELLED = "cancelled"
    ARRIVED = "arrived"
    MOVED = "moved"
    HELD = "held"
    RELEASED = "released"
    COLLECTED = "collected"
    CORRECTED = "corrected"
    TASK_ADDED = "task_added"
    TASK_STARTED = "task_started"
    TASK_PAUSED = "task_paused"
    TASK_FINISHED = "task_finished"
    FINDING = "finding"
    FINDING_SEEN = "finding_seen"
    FINDING_CLEARED = "finding_cleared"
    WITHDRAWN = "withdrawn"  # of a finding
    BELONGING_BACK = "belonging_back"
    DATA_WIPED = "data_wiped"
    WALKED_ROUND = "walked_round"
    PAINT_READ = "paint_read"
    PASSES_DONE = "passes_done"
    REQUEST_OPENED = "request_opened"
    REQUEST_ASKED = "request_asked"
    REQUEST_REPLIED = "request_replied"
    REQUEST_CLOSED = "request_closed"
    CHANGE_SEEN = "change_seen"
    COAT_APPLIED = "coat_applied"
    SUPPLIED_TICKED = "supplied_ticked"
    PRODUCT_USED = "product_used"
    TOUCH_TESTED = "touch_tested"
    WAIT_MOVED = "wait_moved"
    CURED = "cured"
    SOILING_NOTED = "soiling_noted"
    MINUTES_TOLD = "minutes_told"


# Tasks, findings and other notes do not raise the version: a tablet's queued move must not be
# made stale by the task its own user finished a moment before.
VERSIONED = frozenset(
    {
        Kind.RECEIVED,
        Kind.ACCEPTED,
        Kind.DECLINED,
        Kind.CHANGED,
        Kind.CANCELLED,
        Kind.ARRIVED,
        Kind.MOVED,
        Kind.HELD,
        Kind.RELEASED,
        Kind.COLLECTED,
        Kind.CORRECTED,
    }
)
# What a manager can undo, the last that stands first.
UNDOABLE = frozenset({Kind.ARRIVED, Kind.MOVED, Kind.COLLECTED})
# What may follow an arrival that was none: with anything else the car was here.
AFTER_NO_ARRIVAL = frozenset(
    {*UNDOABLE, Kind.CORRECTED, Kind.CHANGED, Kind.CHANGE_SEEN, Kind.TASK_ADDED}
)


# What a move that a clock stands in the way of is refused with.
CLOCK_RUNNING = "clock_running"


@dataclass(frozen=True, slots=True)
class Move:
    """One allowed move. `back` moves are rework; `waits` moves are refused while a clock runs."""

    origin: Stage
    to: Stage
    back: bool = False
    waits: bool = False


MOVES: tuple[Move, ...] = (
    Move(Stage.INTAKE, Stage.CLEANING),
    Move(Stage.INTAKE, Stage.CORRECTION),
    Move(Stage.CLEANING, Stage.CORRECTION),
    Move(Stage.CLEANING, Stage.CURING),
    Move(Stage.CLEANING, Stage.READY, waits=True),
    Move(Stage.CORRECTION, Stage.CURING),
    Move(Stage.CORRECTION, Stage.READY, waits=True),
    Move(Stage.CURING, Stage.READY, waits=True),
    Move(Stage.CORRECTION, Stage.CLEANING, back=True),
    Move(Stage.CURING, Stage.CLEANING, back=True),
    Move(Stage.CURING, Stage.CORRECTION, back=True),
    Move(Stage.READY, Stage.CLEANING, back=True),
    Move(Stage.READY, Stage.CORRECTION, back=True),
)
_BY_ENDS = {(move.origin, move.to): move for move in MOVES}


@dataclass(frozen=True, slots=True)
class State:
    """All that decides what may happen to a job next."""

    stage: Stage = Stage.INTAKE
    decision: Decision = Decision.AWAITED
    arrived: bool = False
    collected: bool = False
    cancelled: bool = False
    holds: int = 0
    rework: int = 0
    version: int = 0

    @property
    def open(self) -> bool:
        """Return whether anything can still be done."""
        return not (self.collected or self.cancelled or self.decision is Decision.DECLINED)


@dataclass(frozen=True, slots=True)
class Refusal:
    """Why an action does not fit the state: a stable code, a sentence, and what to do next."""

    code: str
    detail: str
    next_step: str


@dataclass(frozen=True, slots=True)
class Step:
    """What replay needs of a history entry. `undoes`: of a correction, what was none."""

    kind: Kind
    to: Stage | None = None
    undoes: Kind | None = None


def moves_from(state: State) -> tuple[Move, ...]:
    """Return the moves out of the present stage that the state leaves open."""
    if refuse_work(state) is not None or state.holds:
        return ()
    return tuple(move for move in MOVES if move.origin is state.stage)


def refuse_decision(state: State) -> Refusal | None:
    """Return why an order cannot be accepted or declined, or None."""
    if state.cancelled:
        return Refusal("cancelled", "The dealer cancelled this order.", "Nothing is to be done.")
    if state.decision is not Decision.AWAITED:
        return Refusal(
            "decided", f"This order was {state.decision} before.", "Nothing is to be done."
        )
    return None


def refuse_closed(state: State) -> Refusal | None:
    """Return why nothing more can be done to the job, or None."""
    if state.decision is Decision.DECLINED:
        return Refusal("declined", "This order was declined.", "Post a new work order.")
    if state.cancelled:
        return Refusal("cancelled", "This order was cancelled.", "Post a new work order.")
    if state.collected:
        return Refusal("collected", "The car was collected.", "Post a new work order.")
    return None


def refuse_arrival(state: State) -> Refusal | None:
    """Return why the car cannot be booked in, or None."""
    if closed := refuse_closed(state):
        return closed
    if state.decision is Decision.AWAITED:
        return Refusal(
            "not_accepted", "This order is not accepted yet.", "Accept or decline it first."
        )
    if state.arrived:
        return Refusal("arrived", "The car has arrived already.", "Go on with the work.")
    return None


def refuse_work(state: State) -> Refusal | None:
    """Return why the car cannot be worked on, or None."""
    if closed := refuse_closed(state):
        return closed
    if state.decision is Decision.AWAITED:
        return Refusal(
            "not_accepted", "This order is not accepted yet.", "Accept or decline it first."
        )
    if not state.arrived:
        return Refusal("not_arrived", "The car has not arrived.", "Record its arrival first.")
    return None


def refuse_noting(state: State) -> Refusal | None:
    """Return why nothing can be noted about the car itself, or None; while it is here it can.

    A cancelled order leaves the car standing here, and what is found then matters no less.
    """
    if state.collected:
        return Refusal("collected", "The car was collected.", "Tell the dealer directly.")
    if not state.arrived:
        return Refusal("not_arrived", "The car has not arrived.", "Record its arrival first.")
    return None


def refuse_collection(
    state: State, *, reason: str, belongings_here: int = 0, not_to_be_driven: bool = False
) -> Refusal | None:
    """Return why the car cannot be collected, or None; a reason answers for whatever is left open.

    `belongings_here`: how many things found in the car are not signed back.
    `not_to_be_driven`: the dealer has not acknowledged a finding "do not drive".
    """
    if state.collected:
        return Refusal("collected", "The car was collected before.", "Nothing is to be done.")
    if not state.arrived:
        return Refusal("not_arrived", "The car has not arrived.", "Record its arrival first.")
    if reason:
        return None
    if not_to_be_driven:
        return Refusal(
            "not_acknowledged",
            "The car must not be driven, and the dealer has not acknowledged that yet.",
            "Let the dealer acknowledge the finding, or send a reason and have it transported.",
        )
    if belongings_here:
        return Refusal(
            "belongings_here",
            f"Things found in the car ({belongings_here}) are still here and not signed back.",
            "Have them signed back, or send the reason why they stay.",
        )
    if state.stage is not Stage.READY and not state.cancelled:
        return Refusal(
            "reason_needed",
            "The car is not ready; collecting it now needs a reason.",
            "Send the reason, or move the car to ready first.",
        )
    return None


def refuse_move(
    state: State, to: Stage, *, reason: str, clocks_running: bool, override: bool
) -> Refusal | None:
    """Return why the move is refused, or None where it is allowed.

    `clocks_running`: a cure or drying clock of the job has not ended at the time of the move.
    `override`: a manager takes the responsibility, which needs a reason.
    """
    if closed := refuse_work(state):
        return closed
    if state.holds:
        return Refusal("held", "The job is on hold.", "Release the hold first.")
    move = _BY_ENDS.get((state.stage, to))
    if move is None:
        return Refusal(
            "no_such_move",
            f"There is no move from {state.stage} to {to}.",
            "Choose one of the moves allowed.",
        )
    if move.back and not reason:
        return Refusal(
            "reason_needed",
            f"Going back from {state.stage} to {to} is rework and needs a reason.",
            "Send the reason.",
        )
    if move.waits and clocks_running:
        return _refuse_waiting(reason=reason, override=override)
    return None


def _refuse_waiting(*, reason: str, override: bool) -> Refusal | None:
    if not override:
        return Refusal(
            CLOCK_RUNNING,
            "Something on this car is still curing, drying or flashing off.",
            "Wait until the last clock ends, or let a manager override with a reason.",
        )
    if not reason:
        return Refusal(
            "reason_needed",
            "An override needs a reason; it is recorded and sent to the dealer.",
            "Send the reason.",
        )
    return None


def refuse_correction(
    state: State, last: Kind | None, *, noted_since: bool = False, ordered_again: bool = False
) -> Refusal | None:
    """Return why a manager cannot undo the last step of the car, or None.

    `last`: the last arrival, move or collection that stands. `noted_since`: something was recorded
    after an arrival that only a car that is here allows. `ordered_again`: there is another open
    order for the vehicle.
    """
    if last is None:
        return Refusal("nothing_to_undo", "Nothing was done to undo.", "No action needed.")
    if state.cancelled and last is not Kind.COLLECTED:
        return Refusal(
            "cancelled", "The dealer cancelled this order after it.", "Have the car collected."
        )
    if last is Kind.ARRIVED and noted_since:
        return Refusal(
            "noted_since",
            "Work, notes or a hold were recorded after the arrival, so the car was here.",
            "Tell the dealer what is wrong, who can cancel the order.",
        )
    if last is Kind.COLLECTED and ordered_again:
        return Refusal(
            "ordered_again",
            "The dealer has sent another order for this car since it was collected.",
            "Go on with that order.",
        )
    return None


def is_rework(origin: Stage, to: Stage) -> bool:
    """Return whether the move goes back."""
    move = _BY_ENDS.get((origin, to))
    return move is not None and move.back


def apply(state: State, step: Step) -> State:
    """Return the state after one history entry."""
    version = state.version + (step.kind in VERSIONED)
    after = replace(state, version=version)
    match step.kind:
        case Kind.ACCEPTED:
            return replace(after, decision=Decision.ACCEPTED)
        case Kind.DECLINED:
            return replace(after, decision=Decision.DECLINED)
        case Kind.CANCELLED:
            return replace(after, cancelled=True)
        case Kind.ARRIVED:
            return replace(after, arrived=True)
        case Kind.COLLECTED:
            return replace(after, collected=True)
        case Kind.HELD:
            return replace(after, holds=state.holds + 1)
        case Kind.RELEASED:
            return replace(after, holds=state.holds - 1)
        case Kind.MOVED if step.to is not None:
            rework = state.rework + is_rework(state.stage, step.to)
            return replace(after, stage=step.to, rework=rework)
        case Kind.CORRECTED:
            return _undone(after, step)
        case _:
            return after


def _undone(state: State, step: Step) -> State:
    """Return the state as it was before what a correction undoes; a move's rework is none."""
    match step.undoes:
        case Kind.ARRIVED:
            return replace(state, arrived=False)
        case Kind.COLLECTED:
            return replace(state, collected=False)
        case Kind.MOVED if step.to is not None:
            rework = state.rework - is_rework(step.to, state.stage)
            return replace(state, stage=step.to, rework=rework)
        case _:
            return state


def replay(steps: Iterable[Step]) -> State:
    """Return the state that a whole history leads to."""
    state = State()
    for step in steps:
        state = apply(state, step)
    return state
