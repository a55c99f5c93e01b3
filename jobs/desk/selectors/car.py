"""One car for the desk: everything about it, in nine queries however much there is."""

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from itertools import groupby
from typing import Any
from uuid import UUID

from django.db.models import Exists, F, OuterRef, QuerySet, Subquery, Value
from django.db.models.functions import Coalesce

from accounts.caller import Caller
from core.clock import now
from core.problems import NotFound
from jobs.work.calc.catalogue.operations import OPERATIONS
from jobs.work.calc.coats import PAINTED
from jobs.work.calc.stages.machine import Kind
from jobs.work.calc.tasks.worktime import Clock, Span, counted, seconds_of, whole_minutes
from jobs.work.models import (
    Belonging,
    Finding,
    HistoryEntry,
    Hold,
    Job,
    Operation,
    Product,
    Spell,
    Task,
    WaitClock,
    WalkRound,
    WorkRequest,
)
from jobs.work.selectors.air import air_with, with_air
from jobs.work.selectors.cars import CarFacts, facts_of
from jobs.work.selectors.curing.clocks import with_waits
from jobs.work.selectors.curing.waits import cautions_before
from jobs.work.selectors.jobs.jobs import jobs_of
from jobs.work.selectors.tasks import SOMEBODY, span_of, spans, started_later
from jobs.work.services.requests.requests import Proposal


@dataclass(frozen=True, slots=True)
class TaskRow:
    """One task: minutes worked so far, who worked on it, who does now, until when it cures.

    `to_feel`: somebody has to feel whether it is dry, and nobody has found that it is. `cautions`:
    what speaks against putting on now what cures.
    """

    task: Task
    minutes: int
    people: Sequence[str]
    now: Sequence[str]
    waits_until: datetime | None
    halted: bool
    to_feel: bool
    cautions: Sequence[str]


@dataclass(frozen=True, slots=True)
class HoldRow:
    """One hold; one of a "do not drive" ends only when its finding is over."""

    hold: Hold
    finding: Finding | None = None


@dataclass(frozen=True, slots=True)
class Asked:
    """One request with what was said about it, oldest first, as the history has it."""

    request: WorkRequest
    said: Sequence[HistoryEntry]

    @property
    def to_reply(self) -> bool:
        """Return whether the dealer's question waits for a reply."""
        open_still = self.request.state == WorkRequest.State.OPEN
        return open_still and bool(self.said) and self.said[-1].kind == Kind.REQUEST_ASKED


@dataclass(frozen=True, slots=True)
class WholeCar:
    """One car with all there is about it."""

    facts: CarFacts
    tasks: Sequence[TaskRow]
    holds: Sequence[HoldRow]
    requests: Sequence[Asked]

    @property
    def job(self) -> Job:
        """Return the job."""
        return self.facts.job


def car_of(caller: Caller, job_id: UUID) -> Job:
    """Return one of the caller's cars with its dealer. Raises NotFound.

    It comes `with_waits`, and with `walked`: whether the walk-round on leaving is recorded.
    """
    return facts_of(_cars(caller, job_id), now()).job


def _cars(caller: Caller, job_id: UUID) -> QuerySet[Job]:
    leaving = WalkRound.objects.filter(job=OuterRef("pk"), occasion=WalkRound.Occasion.LEAVING)
    cars = jobs_of(caller).filter(pk=job_id).select_related("dealer")
    return with_waits(cars, now()).annotate(walked=Exists(leaving))


def whole_car(caller: Caller, job_id: UUID) -> WholeCar:
    """Return one of the caller's cars with all there is about it. Raises NotFound."""
    at = now()
    facts = facts_of(with_air(_cars(caller, job_id), at), at)
    job = facts.job
    holds = _holds(job)
    stopping = {finding.hold_id: finding for finding in facts.findings if not finding.over_how}
    return WholeCar(
        facts=facts,
        tasks=_tasks(job, holds, facts.running, at),
        holds=[HoldRow(hold, stopping.get(hold.pk)) for hold in holds[job.pk]],
        requests=[Asked(request, facts.said_of(str(request.pk))) for request in facts.requests],
    )


def _beside(job: Job) -> QuerySet[Spell]:
    """Return the spells on other cars that take their time from clocks on this one."""
    own = Spell.objects.filter(task__job=job).values("pk")
    return started_later(own).exclude(task__job=job).order_by()


def _holds(job: Job) -> dict[UUID, list[Hold]]:
    """Return the holds of the car, and of those that people of its clocks went on to: one query.

    The cars are put together, and not told apart by "or": by that PostgreSQL reads all holds.
    """
    cars = Job.objects.filter(pk=job.pk).values("pk").union(_beside(job).values("task__job"))
    found: dict[UUID, list[Hold]] = defaultdict(list)
    for hold in Hold.objects.filter(job__in=cars).order_by("started_at", "pk"):
        found[hold.job_id].append(hold)
    return found


def _findings(job: Job) -> QuerySet[Finding]:
    return Finding.objects.filter(job=job).select_related("belonging").order_by("pk")


def _tasks(
    job: Job, waits: Mapping[UUID, Sequence[Hold]], clocks: Sequence[WaitClock], at: datetime
) -> list[TaskRow]:
    """Return the tasks in order: two queries, the second for what may speak against coating."""
    rows = list(_by_spell(job))
    own = (row for row in rows if row.job_id == job.pk)
    found = [list(lines) for _, lines in groupby(own, key=lambda task: task.pk)]
    against = _against(job, [lines[0] for lines in found])
    ran = [clock for row in rows if (clock := _clock(row, at))]
    worked = counted(ran, {car: spans(holds, at) for car, holds in waits.items()})
    return [_task(lines, worked, clocks, against, at) for lines in found]


def _clock(row: Any, at: datetime) -> Clock | None:
    if row.spell is None:
        return None
    return Clock(row.spell, row.person, row.job_id, span_of(row.began, row.ended, at))


def _by_spell(job: Job) -> QuerySet[Task]:
    """Return each task as often as it has spells, or once, with what of ours it leaves to wait.

    Among them are those tasks of other cars on which spells take their time from clocks on this.
    """
    own = Operation.objects.filter(workshop=job.workshop_id, code=OuterRef("operation"))
    wanted = Task.objects.filter(job=job).values("pk").union(_beside(job).values("task"))
    tasks = Task.objects.filter(pk__in=wanted).annotate(
        spell=F("spells__pk"),
        began=F("spells__started_at"),
        ended=F("spells__ended_at"),
        person=F("spells__person"),
        who=Coalesce("spells__person__name", Value(SOMEBODY)),
        own_waits=Subquery(own.values("waits")[:1]),
    )
    return tasks.order_by("pk", "began", "spell")


def _against(job: Job, tasks: Sequence[Any]) -> dict[UUID, list[str]]:
    """Return by task what speaks against putting on now what cures; by no reading, nothing does."""
    air, left = air_with(job), (Task.State.WANTED, Task.State.STARTED)
    if air is None:
        return {}
    coating = [task for task in tasks if task.state in left and _coats(task)]
    products = Product.objects.filter(workshop=job.workshop_id, hidden=False)
    known = list(products) if coating else []
    return {one.pk: [told.text for told in cautions_before(one, known, air)] for one in coating}


def _coats(task: Any) -> bool:
    """Return whether a task leaves something to cure; how ours wait is nobody's to change."""
    ours = OPERATIONS.get(task.operation)
    waits = ours.waits if ours else task.own_waits
    return task.operation in PAINTED or waits == WaitClock.Kind.CURE


def _task(
    lines: Sequence[Any],
    counting: Mapping[UUID, Sequence[Span]],
    clocks: Sequence[WaitClock],
    against: Mapping[UUID, Sequence[str]],
    at: datetime,
) -> TaskRow:
    task, worked = lines[0], [line for line in lines if line.spell]
    own = [clock for clock in clocks if clock.task_id == task.pk]
    halted = any(one.ends_at is None for one in own)
    ends = max((one.ends_at for one in own if one.ends_at is not None), default=at)
    return TaskRow(
        task=task,
        minutes=whole_minutes(sum(seconds_of(counting[one.spell]) for one in worked)),
        people=list(dict.fromkeys(one.who for one in worked)),
        now=[one.who for one in worked if one.ended is None],
        waits_until=ends if ends > at and not halted else None,
        halted=halted,
        to_feel=any(one.touch_test for one in own),
        cautions=against.get(task.pk, ()),
    )


def hold_of(job: Job, hold_id: UUID) -> Hold:
    """Return a hold of the job. Raises NotFound."""
    hold = Hold.objects.filter(job=job, pk=hold_id).first()
    if hold is None:
        raise NotFound("This car has no such hold.")
    return hold


def finding_on(job: Job, finding_id: UUID) -> Finding:
    """Return a finding on the job. Raises NotFound."""
    finding = _findings(job).filter(pk=finding_id).first()
    if finding is None:
        raise NotFound("This car has no such finding.")
    return finding


def belonging_on(job: Job, belonging_id: UUID) -> Belonging:
    """Return a belonging found in the car. Raises NotFound."""
    mine = Belonging.objects.filter(finding__job=job, pk=belonging_id).select_related("finding")
    belonging = mine.first()
    if belonging is None:
        raise NotFound("This car has no such belonging.")
    return belonging


def request_about(job: Job, request_id: UUID) -> WorkRequest:
    """Return a request about the job, with its messages. Raises NotFound."""
    mine = WorkRequest.objects.filter(job=job, pk=request_id).prefetch_related("messages")
    request = mine.first()
    if request is None:
        raise NotFound("There is no such request about this car.")
    return request


def proposed_already(job: Job, proposal: Proposal) -> bool:
    """Return whether the very same work waits for an answer: a form that was sent twice."""
    told = ("what", "why", "if_not_done", "minutes", "price", "answer_by")
    same = {name: getattr(proposal, name) for name in told}
    waiting = WorkRequest.objects.filter(job=job, state=WorkRequest.State.OPEN)
    return any(
        one.operations == list(proposal.operations)
        and same == {name: getattr(one, name) for name in told}
        for one in waiting
    )
