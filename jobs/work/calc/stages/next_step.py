"""What to do next about a car, and in which order the cars of a day are worked.

Pure: what is known of the car in, a stable code and a plain sentence out. The sentence may end in
a moment, which whoever shows it writes as a local time.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from enum import IntEnum, StrEnum

from jobs.work.calc.instants import to_utc
from jobs.work.calc.stages.machine import Decision, Stage, State

_STAGES = tuple(Stage)
_LAST = datetime.max.replace(tzinfo=UTC)
_WAITS_FOR = {
    "decision": "the dealer's decision",
    "parts": "parts",
    "weather": "the weather",
    "drying": "drying",
}


class Progress(StrEnum):
    """How far a task is; of a paused one some is done, and nobody is on it."""

    WANTED = "wanted"
    PAUSED = "paused"
    RUNNING = "running"
    FINISHED = "finished"


class Code(StrEnum):
    """What is to be done next."""

    ACCEPT = "accept"
    ARRIVAL = "arrival"
    CHANGE = "change"
    WALK_ROUND = "walk_round"
    START = "start"
    GO_ON = "go_on"
    FINISH = "finish"
    MOVE = "move"
    HELD = "held"
    CURES = "cures"
    TOUCH = "touch"
    WALK_ROUND_OUT = "walk_round_out"
    GIVE_BACK = "give_back"
    HAND_OVER = "hand_over"
    CANCELLED = "cancelled"
    OVER = "over"


class Group(IntEnum):
    """The part of the day's list that a car belongs to, in the order of the list."""

    WORK = 1
    HERE = 2
    WAITS = 3
    COMING = 4
    READY = 5


@dataclass(frozen=True, slots=True)
class TaskAt:
    """One task of the car: its name, the stage it belongs to, how far it is, running since when."""

    name: str
    stage: Stage
    progress: Progress
    since: datetime | None = None

    @property
    def open(self) -> bool:
        """Return whether something is left to do."""
        return self.progress is not Progress.FINISHED


@dataclass(frozen=True, slots=True)
class Car:
    """All that decides what is next.

    `holds`: the causes of the holds that last. `waits_until`: when the last of what cures, dries
    or flashes off is done, where that is still to come. `halted`: what stands still, so that nobody
    can say when all is done. `to_feel`: what ought to be dry by now and
    nobody has felt. `things_here`: belongings to give back.
    """

    state: State
    tasks: Sequence[TaskAt] = ()
    holds: Sequence[str] = ()
    waits_until: datetime | None = None
    halted: str = ""
    to_feel: str = ""
    changes_to_see: int = 0
    walked_in: bool = False
    walked_out: bool = False
    things_here: int = 0

    @property
    def waits(self) -> bool:
        """Return whether anything on it is not done: a move to ready would be refused."""
        return self.waits_until is not None or bool(self.halted or self.to_feel)


@dataclass(frozen=True, slots=True)
class NextStep:
    """What to do next: the words, and the moment they end in, where there is one.

    `to` is the stage of a move; `task` the name of a task.
    """

    code: Code
    words: str
    moment: datetime | None = None
    to: Stage | None = None
    task: str = ""


def next_step(car: Car) -> NextStep:
    """Return what to do next about the car."""
    state = car.state
    if state.collected or not (state.open or state.arrived):
        return NextStep(Code.OVER, "Nothing: it is over")
    if state.cancelled:
        return _leaving(car, NextStep(Code.CANCELLED, "Cancelled: have it collected"))
    if state.decision is Decision.AWAITED:
        return NextStep(Code.ACCEPT, "Waits for a manager to accept the order")
    if not state.arrived:
        return NextStep(Code.ARRIVAL, "Record its arrival")
    if car.changes_to_see:
        return NextStep(Code.CHANGE, "See what the dealer changed")
    if state.holds:
        return NextStep(Code.HELD, _held_words(car.holds))
    if state.stage is Stage.READY:
        return _leaving(car, NextStep(Code.HAND_OVER, "Hand it over"))
    return _working(car)


def _held_words(causes: Sequence[str]) -> str:
    awaited = dict.fromkeys(_WAITS_FOR.get(cause, cause) for cause in causes)
    return f"Waits for {' and '.join(awaited)}" if awaited else "On hold"


def _leaving(car: Car, otherwise: NextStep) -> NextStep:
    if not car.walked_out:
        return NextStep(Code.WALK_ROUND_OUT, "Walk round it before it goes")
    if car.things_here:
        return NextStep(Code.GIVE_BACK, "Give back what was found in it")
    return otherwise


def _working(car: Car) -> NextStep:
    stage = car.state.stage
    if running := _first(car.tasks, Progress.RUNNING):
        words = f"Finish: {_small(running.name)}, running since"
        return NextStep(Code.FINISH, words, running.since, task=running.name)
    if stage is Stage.INTAKE and not car.walked_in:
        return NextStep(Code.WALK_ROUND, "Walk round it")
    due = [task for task in car.tasks if task.open and not _later(task.stage, stage)]
    if paused := _first(due, Progress.PAUSED):
        words = f"Go on with: {_small(paused.name)}"
        return NextStep(Code.GO_ON, words, task=paused.name)
    if due:
        first = min(due, key=lambda task: task.stage is not stage)
        return NextStep(Code.START, f"Start: {_small(first.name)}", task=first.name)
    to = next_stage(stage, car.tasks, waits=car.waits)
    if stage is Stage.CURING and car.to_feel:
        words = f"Feel whether it is dry: {_small(car.to_feel)}"
        return NextStep(Code.TOUCH, words, task=car.to_feel)
    if stage is Stage.CURING and car.halted:
        return NextStep(Code.CURES, f"Too cold or damp to go on: {_small(car.halted)}")
    if stage is Stage.CURING and car.waits_until is not None:
        return NextStep(Code.CURES, "Cures until", car.waits_until)
    return NextStep(Code.MOVE, f"Move to {to.value}", to=to)


def next_stage(stage: Stage, tasks: Iterable[TaskAt], *, waits: bool) -> Stage:
    """Return the stage that comes after this one for what is left to do.

    `waits`: something on the car cures, dries or flashes off. Ready comes last, and curing only
    where something has to.
    """
    left = {task.stage for task in tasks if task.open}
    if stage is Stage.INTAKE:
        only_correction = Stage.CORRECTION in left and Stage.CLEANING not in left
        return Stage.CORRECTION if only_correction else Stage.CLEANING
    if stage is Stage.CLEANING and Stage.CORRECTION in left:
        return Stage.CORRECTION
    if stage in {Stage.CLEANING, Stage.CORRECTION} and (waits or Stage.CURING in left):
        return Stage.CURING
    return Stage.READY


def _first(tasks: Iterable[TaskAt], progress: Progress) -> TaskAt | None:
    return next((task for task in tasks if task.progress is progress), None)


def _later(stage: Stage, than: Stage) -> bool:
    return _STAGES.index(stage) > _STAGES.index(than)


def _small(name: str) -> str:
    """Return the name as it stands inside a sentence; an abbreviation keeps its capitals."""
    return name if name[1:2].isupper() else name[:1].lower() + name[1:]


def group_of(car: Car, step: NextStep) -> Group:
    """Return the part of the list that the car stands in."""
    state = car.state
    if state.arrived and (state.stage is Stage.READY or state.cancelled):
        return Group.READY
    if not state.arrived:
        return Group.COMING
    if state.holds or step.code is Code.CURES:
        return Group.WAITS
    return Group.HERE if state.stage is Stage.INTAKE else Group.WORK


def order_of(
    car: Car, step: NextStep, *, due_at: datetime | None, arrived_at: datetime | None
) -> tuple[Group, datetime, datetime]:
    """Return what a day's cars are sorted by: the part, then what is due first, then came first.

    Raises ValueError for a time without a time zone.
    """
    return (group_of(car, step), to_utc(due_at or _LAST), to_utc(arrived_at or _LAST))
