"""One car for the desk: everything about it, in nine queries however much there is."""

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any
from uuid import UUID

from django.db.models import Exists, OuterRef, QuerySet, Subquery

from core.api.caller import Caller
from core.clock import now
from core.problems import NotFound
from jobs.calc.findings import Weight
from jobs.calc.stages import Kind
from jobs.calc.worktime import worked_minutes
from jobs.models import (
    Belonging,
    Finding,
    HistoryEntry,
    Hold,
    Job,
    Photo,
    ScopeChange,
    Spell,
    Task,
    WaitClock,
    WalkRound,
    WorkRequest,
)
from jobs.selectors.clocks import running_at, with_waits
from jobs.selectors.desk import name_of, spans
from jobs.selectors.jobs import jobs_of, no_such_job
from jobs.selectors.photos import photos_with_paths
from jobs.selectors.waits import Running, running_on


@dataclass(frozen=True, slots=True)
class TaskRow:
    """One task: minutes worked so far, who worked on it, who does now, until when it cures.

    `to_feel`: somebody has to feel whether it is dry, and nobody has found that it is.
    """

    task: Task
    minutes: int
    people: Sequence[str]
    now: Sequence[str]
    waits_until: datetime | None
    to_feel: bool


@dataclass(frozen=True, slots=True)
class HoldRow:
    """One hold; one of a "do not drive" ends with the acknowledgement of its finding only."""

    hold: Hold
    finding: Finding | None = None


@dataclass(slots=True)
class Asked:
    """One request with what was said about it, oldest first, as the history has it."""

    request: WorkRequest
    said: list[HistoryEntry] = field(default_factory=list)

    @property
    def to_reply(self) -> bool:
        """Say whether the dealer's question waits for a reply."""
        open_still = self.request.state == WorkRequest.State.OPEN
        return open_still and bool(self.said) and self.said[-1].kind == Kind.REQUEST_ASKED


@dataclass(frozen=True, slots=True)
class WholeCar:
    """One car with all there is about it."""

    job: Job
    tasks: Sequence[TaskRow]
    holds: Sequence[HoldRow]
    findings: Sequence[Finding]
    requests: Sequence[Asked]
    photos: Sequence[tuple[Photo, dict[str, str]]]  # with their paths by size
    entries: Sequence[HistoryEntry]
    to_see: Sequence[HistoryEntry]
    supplied: dict[str, str]
    running: Running


def car_of(caller: Caller, job_id: UUID) -> Job:
    """Return one of the caller's cars with its dealer. Raises NotFound.

    It comes `with_waits`, and with `walked`: whether the walk-round on leaving is recorded.
    """
    leaving = WalkRound.objects.filter(job=OuterRef("pk"), occasion=WalkRound.Occasion.LEAVING)
    cars = jobs_of(caller).select_related("dealer")
    cars = with_waits(cars, now()).annotate(walked=Exists(leaving))
    job = cars.filter(pk=job_id).first()
    if job is None:
        raise no_such_job()
    return job


def whole_car(caller: Caller, job_id: UUID) -> WholeCar:
    """Return one of the caller's cars with all there is about it. Raises NotFound."""
    job = car_of(caller, job_id)
    holds = list(Hold.objects.filter(job=job).order_by("started_at", "pk"))
    findings = list(_findings(job))
    entries = list(_entries(job))
    stopping = {one.hold_id: one for one in findings if one.acknowledged_at is None}
    return WholeCar(
        job=job,
        tasks=_tasks(job, holds, now()),
        holds=[HoldRow(one, stopping.get(one.pk)) for one in holds],
        findings=findings,
        requests=_asked(job, entries),
        photos=photos_with_paths(job)[::-1],
        entries=entries,
        to_see=[one for one in entries if getattr(one, "to_see", False)],
        supplied=_supplied(job, entries),
        running=running_on(job, now()),
    )


def _findings(job: Job) -> QuerySet[Finding]:
    return Finding.objects.filter(job=job).select_related("belonging").order_by("pk")


def _entries(job: Job) -> QuerySet[HistoryEntry]:
    """Return the history, each entry with `to_see`: a dealer's change nobody here has seen."""
    unseen = ScopeChange.objects.filter(entry=OuterRef("pk"), seen_at__isnull=True)
    entries = HistoryEntry.objects.filter(job=job).annotate(to_see=Exists(unseen))
    return entries.order_by("number")


def _tasks(job: Job, holds: Sequence[Hold], at: datetime) -> list[TaskRow]:
    spells: dict[UUID, list[Spell]] = defaultdict(list)
    every = Spell.objects.filter(task__job=job).select_related("person")
    for spell in every.order_by("started_at", "pk"):
        spells[spell.task_id].append(spell)
    running = WaitClock.objects.filter(running_at(at), task=OuterRef("pk")).order_by("-ends_at")
    tasks = Task.objects.filter(job=job).annotate(
        clock_ends=Subquery(running.values("ends_at")[:1]),
        to_feel=Exists(running.filter(touch_test=True)),
    )
    return [_task(one, spells[one.pk], holds, at) for one in tasks.order_by("pk")]


def _task(task: Task, spells: Sequence[Spell], holds: Sequence[Hold], at: datetime) -> TaskRow:
    ends: datetime | None = getattr(task, "clock_ends", None)
    return TaskRow(
        task=task,
        minutes=worked_minutes(spans(spells, at), spans(holds, at)),
        people=list(dict.fromkeys(name_of(one) for one in spells)),
        now=[name_of(one) for one in spells if one.ended_at is None],
        waits_until=ends if ends is not None and ends > at else None,
        to_feel=getattr(task, "to_feel", False),
    )


def _asked(job: Job, entries: Sequence[HistoryEntry]) -> list[Asked]:
    said: dict[str, list[HistoryEntry]] = defaultdict(list)
    for entry in entries:
        if entry.kind in {Kind.REQUEST_ASKED, Kind.REQUEST_REPLIED}:
            said[str(entry.data.get("request_id"))].append(entry)
    requests = WorkRequest.objects.filter(job=job).order_by("pk")
    return [Asked(one, said[str(one.pk)]) for one in requests]


def _supplied(job: Job, entries: Sequence[HistoryEntry]) -> dict[str, str]:
    """Return the state of each thing the dealer supplies; empty where it has not come."""
    state = dict.fromkeys(job.supplied, "")
    ticked = [one for one in entries if one.kind == Kind.SUPPLIED_TICKED]
    for entry in sorted(ticked, key=lambda one: (one.occurred_at, one.number)):
        state[entry.data["item"]] = entry.data["state"]
    return state


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


def proposed_already(job: Job, proposal: Mapping[str, Any]) -> bool:
    """Say whether the very same work waits for an answer: a form that was sent twice."""
    told = ("what", "why", "if_not_done", "minutes", "price", "answer_by")
    same = {name: proposal.get(name) for name in told}
    waiting = WorkRequest.objects.filter(job=job, state=WorkRequest.State.OPEN)
    return any(
        one.operations == proposal["operations"]
        and same == {name: getattr(one, name) for name in told}
        for one in waiting
    )


def must_not_be_driven(findings: Sequence[Finding]) -> bool:
    """Say whether a finding keeps the car off the road."""
    return any(one.weight == Weight.DO_NOT_DRIVE for one in findings)
