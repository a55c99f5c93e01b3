"""How long work takes at a workshop: what its finished tasks say, and what is asked about."""

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from typing import Any
from uuid import UUID

from django.db.models import Count, F, Min, OuterRef, Prefetch, QuerySet, Subquery, UUIDField

from accounts.caller import Caller
from accounts.models import Person
from core.clock import now
from core.problems import NotAllowed, NotFound
from jobs.work.calc.catalogue.operations import Operation
from jobs.work.calc.catalogue.workshop import Catalogue
from jobs.work.calc.minutes.durations import Done, Forecast, Learnt, Work, learn
from jobs.work.calc.stages.machine import Stage
from jobs.work.calc.statistics.log_normal import LogNormal
from jobs.work.models import Job, Spell, Task
from jobs.work.selectors.catalogue import catalogue_of
from jobs.work.selectors.jobs.jobs import job_named
from jobs.work.selectors.tasks import holds_of, minutes_worked, name_of, spells_begun

# What is learnt from: the newest tasks of the newest cars, so that a workshop with years of history
# is answered as fast, and for the way it works now. Two tasks a car fill it.
NEWEST_TASKS = 2000
NEWEST_CARS = 1000
MOST_ASKED = 50


@dataclass(slots=True)
class Seen:
    """What a workshop's newest finished tasks say; counts are by operation.

    `asked`: left out until somebody answers. `unmeasured`: nobody ran a clock. `gone`: tasks of
    operations that have left the catalogue, so that there is no standard to hold them against.
    """

    learnt: Learnt
    counted: Counter[str] = field(default_factory=Counter)
    asked: Counter[str] = field(default_factory=Counter)
    unmeasured: Counter[str] = field(default_factory=Counter)
    gone: int = 0


@dataclass(frozen=True, slots=True)
class OperationTime:
    """How long one operation takes, in minutes, and what that rests on."""

    operation: Operation
    forecast: Forecast
    finished: int
    waiting: int
    unmeasured: int


@dataclass(frozen=True, slots=True)
class AskedAbout:
    """A finished task whose minutes wait for an answer, what such work takes, and who did it."""

    task: Task
    forecast: Forecast
    people: Sequence[str]


@dataclass(frozen=True, slots=True)
class Durations:
    """How long every operation takes at a workshop, for the cars and the person asked about."""

    operations: Sequence[OperationTime]
    seen: Seen
    asked: Sequence[AskedAbout]
    asked_in_all: int


@dataclass(frozen=True, slots=True)
class Estimate:
    """How long the open tasks of a car still take, each and together.

    Each task with the minutes worked on it so far, which are in no forecast, and its rest.
    """

    job: Job
    tasks: Sequence[tuple[Task, int, Forecast]]
    whole: Forecast
    learnt_from: int


@dataclass(frozen=True, slots=True)
class Asked:
    """What is asked about: cars of a size, a level of dirt, one person's work; empty is any."""

    operation: str = ""
    body_size: str = ""
    soiling: int | None = None
    person_id: UUID | None = None


def durations_of(caller: Caller, asked: Asked) -> Durations:
    """Return how long work takes at the caller's workshop, in a handful of queries.

    A valeter may ask for the own work, not for a colleague's. Raises NotAllowed for that, and
    NotFound for an operation or a person this workshop does not have.
    """
    _check_person(caller, asked.person_id)
    workshop_id = caller.organisation_id
    catalogue = catalogue_of(workshop_id)
    seen = seen_of(workshop_id, catalogue)
    operations = [
        operation
        for operation in catalogue.operations.values()
        if asked.operation in {"", operation.code}
        and (not operation.hidden or seen.counted[operation.code])
    ]
    if asked.operation and not operations:
        raise NotFound(f"There is no operation {asked.operation} at this workshop.")
    forecasts = seen.learnt.tasks([_asked_work(operation, asked) for operation in operations])
    waiting = list(_asked_about(workshop_id))
    return Durations(
        operations=[
            OperationTime(
                operation,
                forecast,
                seen.counted[operation.code],
                seen.asked[operation.code],
                seen.unmeasured[operation.code],
            )
            for operation, forecast in zip(operations, forecasts, strict=True)
        ],
        seen=seen,
        asked=_with_forecasts(waiting[:MOST_ASKED], catalogue, seen.learnt),
        asked_in_all=len(waiting),
    )


def _check_person(caller: Caller, person_id: UUID | None) -> None:
    if person_id is None or person_id == caller.person_id:
        return
    if caller.role == Person.Role.VALETER:
        raise NotAllowed(
            "How long a colleague takes is not shown to valeters.",
            next_step="Ask for your own minutes, or leave out the person.",
        )
    mine = Person.objects.filter(organisation_id=caller.organisation_id, pk=person_id)
    if not mine.exists():
        raise NotFound("Nobody at this workshop has this id.")


def _asked_work(operation: Operation, asked: Asked) -> Work:
    return Work(
        operation.code,
        operation.standard_minutes,
        operation.stage,
        asked.body_size,
        asked.soiling,
        str(asked.person_id or ""),
    )


def estimate_of(caller: Caller, job_id: UUID) -> Estimate:
    """Return how long a car's open tasks still take, whoever does them.

    Four queries, and at most four more where work is under way. Raises NotFound for a car that is
    not the caller's.
    """
    job, at = job_named(caller, job_id), now()
    open_states = (Task.State.WANTED, Task.State.STARTED)
    tasks = list(Task.objects.filter(job=job, state__in=open_states).order_by("pk"))
    begun = any(task.state == Task.State.STARTED for task in tasks)
    spells = spells_begun([job.pk]) if begun else {}
    so_far = minutes_worked(spells, holds_of([job.pk]) if begun else {}, at)
    worked = [so_far.get(task.pk, 0) for task in tasks]
    catalogue = catalogue_of(job.workshop_id)
    learnt = seen_of(job.workshop_id, catalogue).learnt
    works = [work_of(task, job, catalogue) for task in tasks]
    forecasts, whole = learnt.left(works, worked)
    return Estimate(
        job=job,
        tasks=list(zip(tasks, worked, forecasts, strict=True)),
        whole=whole,
        learnt_from=learnt.finished,
    )


def work_of(task: Task, job: Job, catalogue: Catalogue, person: str = "") -> Work:
    """Return a task as the sums take it; one that left the catalogue with what was planned."""
    known = catalogue.operations.get(task.operation)
    minutes = known.standard_minutes if known else max(1, task.planned_minutes)
    return Work(task.operation, minutes, Stage(task.stage), job.body_size, job.soiling, person)


def expected_minutes(job: Job, task: Task) -> LogNormal:
    """Return how long such a task takes here, by the person who is most on it: three queries."""
    catalogue = catalogue_of(job.workshop_id)
    first = _most_on_it(Spell.objects.filter(task=task)).first()
    work = work_of(task, job, catalogue, str((first or {}).get("person") or ""))
    return seen_of(job.workshop_id, catalogue).learnt.of_task(work)


def seen_of(workshop_id: UUID, catalogue: Catalogue) -> Seen:
    """Return what the newest finished tasks say: one query, in the order of their finish."""
    return _seen(_finished(workshop_id), catalogue)


def _finished(workshop_id: UUID) -> QuerySet[Task, Any]:
    finished = Task.objects.filter(job__in=_newest(workshop_id), state=Task.State.FINISHED)
    newest = finished.order_by("-finished_at", "-pk").values("pk")[:NEWEST_TASKS]
    # Who did it is looked up for the newest alone: a list of columns is made before it is cut off.
    who = _most_on_it(Spell.objects.filter(task=OuterRef("pk"))).values("person")[:1]
    in_order = Task.objects.filter(pk__in=newest).order_by("-finished_at", "-pk")
    return in_order.values(
        "operation",
        "stage",
        "doubt",
        "told_minutes",
        "actual_minutes",
        "job_id",
        size=F("job__body_size"),
        soiling=F("job__soiling"),
        # SQLite would give the bare column.
        who=Subquery(who, output_field=UUIDField()),
    )


def _newest(workshop_id: UUID) -> QuerySet[Job, Any]:
    return Job.objects.filter(workshop_id=workshop_id).order_by("-pk").values("pk")[:NEWEST_CARS]


def _most_on_it(spells: QuerySet[Spell]) -> QuerySet[Any, Any]:
    """Order the people on a task by how many of its spells are theirs, the earlier one first.

    Of two that began at the same instant the one whose id comes first, so that it is always one.
    """
    by_person = spells.values("person").annotate(count=Count("pk"), began=Min("started_at"))
    return by_person.order_by("-count", "began", "person")


def _seen(rows: Iterable[Any], catalogue: Catalogue) -> Seen:
    done: list[Done] = []
    seen = Seen(learn([]))
    for row in rows:
        operation = catalogue.operations.get(row["operation"])
        stated, actual = row["told_minutes"], row["actual_minutes"]
        minutes = actual if stated is None else stated
        if operation is None:
            seen.gone += 1
        elif row["doubt"] == Task.Doubt.ASKED:
            seen.asked[operation.code] += 1
        elif not minutes:
            seen.unmeasured[operation.code] += 1
        else:
            seen.counted[operation.code] += 1
            work = Work(
                operation.code,
                operation.standard_minutes,
                Stage(row["stage"]),
                row["size"],
                row["soiling"],
                str(row["who"] or ""),
            )
            done.append(Done(work, minutes, row["job_id"]))
    seen.learnt = learn(done)
    return seen


def _asked_about(workshop_id: UUID) -> QuerySet[Task]:
    asked = Task.objects.filter(
        job__in=_newest(workshop_id), state=Task.State.FINISHED, doubt=Task.Doubt.ASKED
    )
    people = Prefetch("spells", Spell.objects.select_related("person").order_by("started_at", "pk"))
    asked = asked.select_related("job").prefetch_related(people)
    return asked.order_by("-finished_at", "-pk")


def _with_forecasts(
    tasks: Sequence[Task], catalogue: Catalogue, learnt: Learnt
) -> list[AskedAbout]:
    forecasts = learnt.tasks([work_of(task, task.job, catalogue) for task in tasks])
    return [
        AskedAbout(task, forecast, list(dict.fromkeys(map(name_of, task.spells.all()))))
        for task, forecast in zip(tasks, forecasts, strict=True)
    ]
