"""The cars of the day as the wash bay works them: in order, each with what to do next.

A fixed number of queries however many cars there are.
"""

from collections import Counter, defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any
from uuid import UUID

from django.db.models import Count, Exists, Min, OuterRef, Q, QuerySet, Subquery

from accounts.caller import Caller
from core.clock import next_change
from jobs.work.calc.stages.machine import Stage
from jobs.work.calc.stages.next_step import (
    Car,
    Group,
    NextStep,
    Progress,
    TaskAt,
    group_of,
    next_step,
    order_of,
)
from jobs.work.models import Belonging, Hold, Job, ScopeChange, Spell, Task, WalkRound
from jobs.work.selectors.curing.clocks import halted_on, to_feel, waits_add, waits_until, with_waits
from jobs.work.selectors.jobs.jobs import jobs_of

MOST_CARS = 300  # at once at one workshop; beyond that the page says that it shows no more
# Every order that is open, and a cancelled one whose car stands here.
HERE = Q(is_open=True) | Q(
    cancelled_at__isnull=False, arrived_at__isnull=False, collected_at__isnull=True
)
# What the list says of a car itself, and what decides its next step.
ON_THE_BOARD = (
    "dealer__name", "decision", "stage", "version", "history_count", "open_holds", "rework_count",
    "do_not_drive", "is_open", "arrived_at", "collected_at", "cancelled_at", "registration", "vin",
    "make", "model", "colour", "due_at", "location", "updated_at",
)  # fmt: skip
COUNTED = (Task.State.WANTED, Task.State.STARTED, Task.State.FINISHED)


@dataclass(frozen=True, slots=True)
class BoardCar:
    """One car with what is next, how many of its tasks are done, and who is on them."""

    job: Job
    car: Car
    step: NextStep
    done: int
    of: int

    @property
    def group(self) -> Group:
        """Return the part of the list that the car stands in."""
        return group_of(self.car, self.step)


@dataclass(frozen=True, slots=True)
class Board:
    """The day's cars in the order to work them; `more`: there are more than come here."""

    cars: list[BoardCar]
    more: bool
    changes_at: datetime  # when time alone has it show something else


def board_of(caller: Caller, at: datetime) -> Board:
    """Return the cars in the order to work them: seven queries."""
    mine = jobs_of(caller).filter(HERE).select_related("dealer").only(*ON_THE_BOARD)
    jobs = list(mine.order_by("pk")[: MOST_CARS + 1])
    shown = jobs[:MOST_CARS]
    ids = [job.pk for job in shown]
    waits_change = waits_add(shown, at).changes_at
    facts_add(shown)
    tasks = _tasks_of(ids)
    holds = _holds_of([job.pk for job in shown if job.open_holds])
    cars = [_board_car(job, tasks[job.pk], holds[job.pk]) for job in shown]
    return Board(
        sorted(cars, key=_place),
        len(jobs) > MOST_CARS,
        next_change(at, [waits_change, *(job.due_at for job in shown)]),
    )


def _tasks_of(job_ids: Sequence[UUID]) -> dict[UUID, list[TaskAt]]:
    """Return the tasks of each job that were not dropped: two queries."""
    open_spells = Spell.objects.filter(task__job_id__in=job_ids, ended_at__isnull=True)
    begun = open_spells.order_by("-started_at").values_list("task_id", "started_at")
    since = dict(begun)  # of several people the first who began
    tasks = Task.objects.filter(job_id__in=job_ids, state__in=COUNTED).order_by("pk")
    found: dict[UUID, list[TaskAt]] = defaultdict(list)
    for pk, job_id, name, stage, state in tasks.values_list(
        "pk", "job_id", "name", "stage", "state"
    ):
        progress = _progress(state, since.get(pk))
        found[job_id].append(TaskAt(name, Stage(stage), progress, since.get(pk)))
    return found


def _holds_of(job_ids: Sequence[UUID]) -> dict[UUID, list[str]]:
    """Return the causes of the holds that last on each job: one query."""
    holds = Hold.objects.filter(job_id__in=job_ids, ended_at__isnull=True).order_by("pk")
    found: dict[UUID, list[str]] = defaultdict(list)
    for job_id, cause in holds.values_list("job_id", "cause"):
        found[job_id].append(cause)
    return found


def facts_add(jobs: Sequence[Job]) -> None:
    """Add to jobs at hand what `with_facts` adds and the list shows: three queries."""
    ids = [job.pk for job in jobs]
    rounds = WalkRound.objects.filter(job__in=ids).order_by()
    walked = set(rounds.values_list("job_id", "occasion").distinct())
    unseen = ScopeChange.objects.filter(job__in=ids, seen_at__isnull=True)
    changes = Counter(unseen.values_list("job_id", flat=True))
    things = Counter(
        things_here().filter(finding__job__in=ids).values_list("finding__job", flat=True)
    )
    for job in jobs:
        vars(job).update(
            walked_in=(job.pk, WalkRound.Occasion.ARRIVAL.value) in walked,
            walked_out=(job.pk, WalkRound.Occasion.LEAVING.value) in walked,
            changes_to_see=changes[job.pk],
            things_here=things[job.pk],
        )


def things_here() -> QuerySet[Belonging]:
    """Return the things found in cars that nobody has given back."""
    return Belonging.objects.filter(what__in=Belonging.THINGS, returned_at__isnull=True)


def with_facts(jobs: QuerySet[Job], at: datetime) -> QuerySet[Job]:
    """Add to jobs what decides the next step and is no column of theirs."""
    rounds = WalkRound.objects.filter(job=OuterRef("pk"))
    unseen = ScopeChange.objects.filter(job=OuterRef("pk"), seen_at__isnull=True)
    things = things_here().filter(finding__job=OuterRef("pk"))
    return with_waits(jobs, at).annotate(
        walked_in=Exists(rounds.filter(occasion=WalkRound.Occasion.ARRIVAL)),
        walked_out=Exists(rounds.filter(occasion=WalkRound.Occasion.LEAVING)),
        lights_noted=Subquery(rounds.order_by("-pk").values("warning_lights")[:1]),
        lights_noted_at=Subquery(rounds.order_by("-pk").values("recorded_at")[:1]),
        changes_to_see=_count(unseen, "job"),
        things_here=_count(things, "finding__job"),
    )


def _count(rows: QuerySet[Any], by: str) -> Subquery:
    return Subquery(rows.order_by().values(by).annotate(count=Count("pk")).values("count"))


def with_running(tasks: QuerySet[Task]) -> QuerySet[Task]:
    """Order tasks and add `running_since`: when the first person on it now began."""
    since = Min("spells__started_at", filter=Q(spells__ended_at__isnull=True))
    return tasks.annotate(running_since=since).order_by("pk")


def car_at(job: Job, tasks: Sequence[Task], holds: Iterable[Hold]) -> Car:
    """Return what decides the next step of a job that came `with_facts`, its tasks running."""
    return _car(
        job,
        [task_at(task) for task in tasks if task.state != Task.State.DROPPED],
        [hold.cause for hold in holds if hold.ended_at is None],
    )


def _car(job: Job, tasks: Sequence[TaskAt], holds: Sequence[str]) -> Car:
    facts: Any = job
    return Car(
        state=job.state,
        tasks=tasks,
        holds=holds,
        waits_until=waits_until(job),
        halted=halted_on(job),
        to_feel=to_feel(job),
        changes_to_see=facts.changes_to_see or 0,
        walked_in=facts.walked_in,
        walked_out=facts.walked_out,
        things_here=facts.things_here or 0,
    )


def task_at(task: Task) -> TaskAt:
    """Return a task as the next step looks at it."""
    since: datetime | None = getattr(task, "running_since", None)
    return TaskAt(task.name, Stage(task.stage), _progress(task.state, since), since)


def _progress(state: str, since: datetime | None) -> Progress:
    if state == Task.State.FINISHED:
        return Progress.FINISHED
    if since is not None:
        return Progress.RUNNING
    return Progress.PAUSED if state == Task.State.STARTED else Progress.WANTED


def _board_car(job: Job, tasks: Sequence[TaskAt], holds: Sequence[str]) -> BoardCar:
    car = _car(job, tasks, holds)
    done = sum(task.progress is Progress.FINISHED for task in tasks)
    return BoardCar(job, car, next_step(car), done, len(tasks))


def _place(board_car: BoardCar) -> tuple[Any, ...]:
    job = board_car.job
    order = order_of(board_car.car, board_car.step, due_at=job.due_at, arrived_at=job.arrived_at)
    return (*order, job.pk)
