"""What a car's page on the tablet shows, row by row: stages, moves, tasks, holds, findings."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from uuid import UUID

from django.utils.timezone import localtime

from accounts.caller import Caller, Scope
from core.clock import instant_of
from jobs.tablet.coats import Coating, coating_of
from jobs.tablet.selectors.car import TabletCar, TaskNow
from jobs.work.calc.car.areas import AREAS
from jobs.work.calc.car.views import VIEWS
from jobs.work.calc.catalogue.workshop import Catalogue
from jobs.work.calc.coats import PAINTED, CoatKind, default_flash_off_minutes, next_coat_from
from jobs.work.calc.findings import WEIGHT_WORDS, FindingKind, Weight, caution_for
from jobs.work.calc.stages.machine import MOVES, Stage
from jobs.work.calc.stages.next_step import next_stage
from jobs.work.calc.walk_rounds import WARNING_LIGHTS, LightOffer, light_offers
from jobs.work.models import Finding, Hold, Photo, Task
from jobs.work.words.jobs.history import over_words

_STAGES = tuple(Stage)
END_OF_DAY = 17  # the hour by which an answer is wanted where "today" is tapped


@dataclass(frozen=True, slots=True)
class MoveRow:
    """One move as a button: `now` where the car stands at its start, `first` where it is the next.

    `guarded`: refused while something on the car cures or dries; `waits`: something does now;
    `until`: when all of it is done, where the time alone decides; `halted`: what stands still.
    `override`: a manager lets the car pass all the same.
    """

    origin: str
    to: str
    now: bool
    first: bool = False
    back: bool = False
    guarded: bool = False
    waits: bool = False
    until: datetime | None = None
    halted: str = ""
    override: bool = False

    @property
    def reasoned(self) -> bool:
        """Return whether the move asks for a reason."""
        return self.back or self.override

    @property
    def says(self) -> str:
        """Return the move in words."""
        if self.override:
            return f"Move all the same to {self.to}"
        return f"{'Back' if self.back else 'Move'} to {self.to}"


@dataclass(frozen=True, slots=True)
class TaskRow:
    """One task: `state` as the page shows it, whether the caller is on it, its caution, coats.

    `in_doubt`: its minutes are far from what such work takes, or its clock ran for less than a
    minute, and nobody has said what is right. `leaves`: once finished, it has to cure or dry.
    """

    now: TaskNow
    state: str
    mine: bool
    people: str
    caution: str
    here: bool
    coat_kinds: Sequence[tuple[str, int]] = ()
    coats_until: datetime | None = None
    coats_halted: bool = False
    coating: Coating = field(default_factory=Coating)
    in_doubt: bool = False
    leaves: bool = False

    @property
    def task(self) -> Task:
        """Return the task."""
        return self.now.task


@dataclass(frozen=True, slots=True)
class HoldRow:
    """One hold; one that a finding brought about ends when that is over only."""

    hold: Hold
    of_finding: UUID | None


@dataclass(frozen=True, slots=True)
class FindingRow:
    """One finding in words, with the caution it carries."""

    finding: Finding
    area: str
    weight: str
    stop: bool
    caution: str
    over: str = ""
    may_withdraw: bool = False


def moves_of(car: TabletCar, *, may_override: bool) -> list[MoveRow]:
    """Return every move there is, whatever stage the car is in: a queued move may change that.

    Of each stage the likely next move comes first; going back comes last.
    """
    rows = [*_forward(car), *_back(car)]
    if may_override and car.car.waits:
        rows += _overrides(car)
    return rows


def _forward(car: TabletCar) -> Iterator[MoveRow]:
    until = None if any(clock.touch_test for clock in car.facts.running) else car.car.waits_until
    waits = car.car.waits or any(_will_wait(task.task, car.catalogue) for task in car.tasks)
    for stage in _STAGES[:-1]:
        first = next_stage(stage, car.car.tasks, waits=waits)
        onward = [move for move in MOVES if move.origin is stage and not move.back]
        for move in sorted(onward, key=lambda move: move.to is not first):
            yield MoveRow(
                stage.value,
                move.to.value,
                now=car.job.stage == stage,
                first=move.to is first,
                guarded=move.waits,
                waits=move.waits and car.car.waits,
                until=until if move.waits else None,
                halted=car.car.halted if move.waits else "",
            )


def _will_wait(task: Task, catalogue: Catalogue) -> bool:
    """Return whether the task will leave something to cure or dry once it is finished."""
    operation = catalogue.operations.get(task.operation)
    to_do = task.state in {Task.State.WANTED, Task.State.STARTED}
    return to_do and operation is not None and bool(operation.waits)


def _back(car: TabletCar) -> Iterator[MoveRow]:
    for move in MOVES:
        if move.back:
            here = car.job.stage == move.origin
            yield MoveRow(move.origin.value, move.to.value, now=here, back=True)


def _overrides(car: TabletCar) -> Iterator[MoveRow]:
    for move in MOVES:
        if move.waits:
            here = car.job.stage == move.origin
            yield MoveRow(move.origin.value, move.to.value, now=here, override=True)


def tasks_of(car: TabletCar, caller: Caller) -> list[TaskRow]:
    """Return the tasks that were not dropped: those of this stage first, what is done last."""
    rows = [_task_row(task, car, caller) for task in car.tasks if task.task.state != "dropped"]
    return sorted(rows, key=lambda row: (not row.here, row.state == Task.State.FINISHED))


def _task_row(task_now: TaskNow, car: TabletCar, caller: Caller) -> TaskRow:
    task = task_now.task
    state = task.state
    if state == Task.State.STARTED and not task_now.running:
        state = "paused"
    operation = car.catalogue.operations.get(task.operation)
    return TaskRow(
        now=task_now,
        state=state,
        mine=any(spell.person_id == caller.person_id for spell in task_now.running),
        people=", ".join(spell.name for spell in task_now.running),
        caution=operation.caution_on(car.job.fuel) if operation else "",
        here=task.stage == car.job.stage,
        coat_kinds=coat_kinds_of(task.operation),
        coats_until=next_coat_from([coat.timer for coat in task_now.coats]),
        coats_halted=any(coat.flashed_off_at is None for coat in task_now.coats),
        coating=coating_of(task, car),
        in_doubt=state == Task.State.FINISHED and task.doubt == Task.Doubt.ASKED,
        leaves=operation is not None and bool(operation.waits),
    )


def coat_kinds_of(operation: str) -> list[tuple[str, int]]:
    """Return the kinds of coat that go on in this task with their usual flash-off minutes."""
    if operation not in PAINTED:
        return []
    return [(kind.value, default_flash_off_minutes(operation, kind)) for kind in CoatKind]


def holds_of(car: TabletCar) -> list[HoldRow]:
    """Return the holds that last."""
    stopping = {
        finding.hold_id: finding.pk for finding in car.facts.findings if not finding.over_how
    }
    return [HoldRow(hold, stopping.get(hold.pk)) for hold in car.facts.holds]


def finding_row(finding: Finding, caller: Caller) -> FindingRow:
    """Return a finding in words, and whether the caller may withdraw it."""
    area = AREAS[finding.area].name if finding.area in AREAS else finding.area
    weight, kind = Weight(finding.weight), FindingKind(finding.kind)
    said = over_words(finding.over_how, finding.over_by, finding.over_at)
    own = caller.person_id is not None and caller.person_id == finding.actor_person_id
    return FindingRow(
        finding,
        area,
        WEIGHT_WORDS[weight],
        finding.must_not_be_driven,
        caution_for(kind, weight),
        f"{said} {finding.over_reason}".strip(),
        own or caller.may(Scope.OVERRIDE),
    )


def red_lights(car: TabletCar) -> list[tuple[LightOffer, str]]:
    """Return the red lights of the newest walk-round that nobody has reported, with names."""
    stops = [finding for finding in car.facts.findings if finding.weight == Weight.DO_NOT_DRIVE]
    # As in selectors/walk_rounds.py, of the findings that the page has read already.
    reported = {
        stop.area
        for stop in stops
        if stop.over_at is None or car.lights_at is None or stop.over_at >= car.lights_at
    }
    offers = light_offers(car.lights, reported)
    return [(offer, WARNING_LIGHTS[offer.light]) for offer in offers]


def photo_words(photo: Photo) -> str:
    """Return what a picture shows, in words."""
    where = VIEWS.get(photo.view) or (AREAS[photo.area].name if photo.area in AREAS else "")
    words = ", ".join(part for part in (photo.get_moment_display(), where) if part)
    return f"{words}: {photo.caption}" if photo.caption else words


def danger_open(car: TabletCar) -> bool:
    """Return whether the dealer has still to acknowledge that it must not be driven."""
    return car.facts.found.danger_not_acknowledged


WITHDRAWN_BECAUSE = ("Reported on the wrong car.", "Looked at again: it is not so.")


def transport_times(at: datetime) -> list[tuple[str, str]]:
    """Return when a car may be transported: today or on the days after, each in words."""
    local = localtime(at)
    morning = local.replace(hour=8, minute=0, second=0, microsecond=0)
    days = [morning + timedelta(days=number) for number in range(1, 8)]
    later = [(day, "tomorrow" if number == 0 else f"{day:%A}") for number, day in enumerate(days)]
    return [("", "today"), *((day.isoformat(timespec="seconds"), words) for day, words in later)]


def operation_names(car: TabletCar) -> list[tuple[str, str]]:
    """Return the operations that can be added: code and name."""
    return [(operation.code, operation.name) for operation in car.catalogue.shown_operations()]


def answer_times(at: datetime) -> list[tuple[str, str]]:
    """Return until when an answer may be wanted: moments to come, each in words."""
    today = localtime(at).date()
    evening, tomorrow, third = (
        instant_of(today + timedelta(days=days), END_OF_DAY) for days in (0, 1, 3)
    )
    in_two = at + timedelta(hours=2)
    choices = [(in_two, "within two hours")]
    if evening > in_two:
        choices.append((evening, f"by {END_OF_DAY}:00 today"))
    choices.append((tomorrow, f"by {END_OF_DAY}:00 tomorrow"))
    choices.append((third, "within three days"))
    return [(moment.isoformat(timespec="seconds"), words) for moment, words in choices]
