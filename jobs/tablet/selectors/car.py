"""One car as whoever works on it needs it: nine queries, however much there is."""

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import datetime
from itertools import groupby
from typing import Any
from uuid import UUID

from django.db.models import F, FilteredRelation, Q, QuerySet, Value
from django.db.models.functions import Coalesce

from accounts.caller import Caller
from jobs.tablet.selectors.board import car_at, with_facts
from jobs.work.calc.catalogue.workshop import Catalogue
from jobs.work.calc.stages.machine import Kind
from jobs.work.calc.stages.next_step import Car, NextStep, next_step
from jobs.work.models import (
    ClimateReading,
    Coat,
    HistoryEntry,
    Job,
    Product,
    SuppliedTick,
    Task,
    WaitClock,
    WorkRequest,
)
from jobs.work.selectors.air import air_with, with_air
from jobs.work.selectors.cars import CarFacts, facts_of
from jobs.work.selectors.catalogue import catalogue_of
from jobs.work.selectors.jobs.jobs import jobs_of
from jobs.work.selectors.jobs.reminders import Open, Reminder, reminders_from
from jobs.work.selectors.products import products_of
from jobs.work.selectors.stages import STEPS

TOLD = (
    Kind.CHANGED,
    Kind.REQUEST_OPENED,
    Kind.REQUEST_ASKED,
    Kind.REQUEST_REPLIED,
    Kind.REQUEST_CLOSED,
    Kind.SUPPLIED_TICKED,
)


@dataclass(slots=True)
class AskedFor:
    """A request for extra work with what was said about it, and what became of it."""

    opened: HistoryEntry
    said: list[HistoryEntry] = field(default_factory=list)
    outcome: str = WorkRequest.State.OPEN.value

    @property
    def to_reply(self) -> bool:
        """Return whether the dealer's question waits for a reply."""
        return bool(self.said) and self.said[-1].kind == Kind.REQUEST_ASKED


@dataclass(frozen=True, slots=True)
class OnIt:
    """Somebody who is on a task now: since when, and who, where a person is."""

    started_at: datetime
    person_id: UUID | None
    name: str


@dataclass(frozen=True, slots=True)
class TaskNow:
    """One task with who is on it now, its coats, and what still cures of it."""

    task: Task
    running: Sequence[OnIt]
    coats: Sequence[Coat]

    @property
    def since(self) -> datetime | None:
        """Return when the first on it now began."""
        return self.running[0].started_at if self.running else None


@dataclass(frozen=True, slots=True)
class TabletCar:
    """One car with all that the tablet shows of it.

    `air`: the newest reading in the workshop. `products`: those that the workshop uses.
    """

    facts: CarFacts
    car: Car
    step: NextStep
    tasks: Sequence[TaskNow]
    lights: Sequence[str]
    lights_at: datetime | None
    air: ClimateReading | None
    products: Sequence[Product]
    asked: Sequence[AskedFor]
    reminders: Sequence[Reminder]
    catalogue: Catalogue

    @property
    def job(self) -> Job:
        """Return the job."""
        return self.facts.job


def car_for_tablet(caller: Caller, job_id: UUID, at: datetime) -> Job:
    """Return one of the caller's cars with its dealer and what decides its next step.

    Raises NotFound.
    """
    return facts_of(_cars(caller, job_id, at), at).job


def _cars(caller: Caller, job_id: UUID, at: datetime) -> QuerySet[Job]:
    return with_facts(jobs_of(caller).filter(pk=job_id).select_related("dealer"), at)


def tablet_car(caller: Caller, job_id: UUID, at: datetime) -> TabletCar:
    """Return one of the caller's cars with all that the tablet shows of it. Raises NotFound."""
    facts = facts_of(with_air(_cars(caller, job_id, at), at), at, kinds=(*TOLD, *STEPS))
    job = facts.job
    tasks = _tasks(job, facts.clocks)
    asked = _asked(facts.entries)
    car = car_at(job, [task.task for task in tasks], facts.holds)
    return TabletCar(
        facts=facts,
        car=car,
        step=next_step(car),
        tasks=tasks,
        lights=getattr(job, "lights_noted", None) or [],
        lights_at=getattr(job, "lights_noted_at", None),
        air=air_with(job),
        products=list(products_of(caller)),
        asked=asked,
        reminders=reminders_from(
            job,
            Open(
                found=facts.found,
                requests=sum(request.outcome == WorkRequest.State.OPEN for request in asked),
                changes=len(facts.changes),
                walked_out=car.walked_out,
                supplied=_not_settled(job, facts.supplied),
            ),
        ),
        catalogue=catalogue_of(job.workshop_id),
    )


def _tasks(job: Job, clocks: Sequence[WaitClock]) -> list[TaskNow]:
    coats: dict[UUID, list[Coat]] = defaultdict(list)
    for clock in clocks:
        coat = getattr(clock, "coat", None)
        if coat is not None:
            coats[clock.task_id].append(coat)
    rows = []
    for _, found in groupby(_tasks_by_spell(job), key=lambda task: task.pk):
        lines: list[Any] = list(found)
        task = lines[0]
        now_on = [OnIt(line.since, line.person_on, line.name_on) for line in lines if line.since]
        task.running_since = now_on[0].started_at if now_on else None
        on_it = sorted(coats[task.pk], key=lambda coat: coat.number)
        rows.append(TaskNow(task, now_on, on_it))
    return rows


def _tasks_by_spell(job: Job) -> QuerySet[Task]:
    """Return each task as often as somebody is on it, or once: one query for tasks and spells."""
    tasks = Task.objects.filter(job=job).annotate(
        now_on=FilteredRelation("spells", condition=Q(spells__ended_at__isnull=True)),
        since=F("now_on__started_at"),
        person_on=F("now_on__person_id"),
        name_on=Coalesce("now_on__person__name", Value("somebody")),
    )
    return tasks.order_by("pk", "now_on__started_at", "now_on__pk")


def _asked(entries: Sequence[HistoryEntry]) -> list[AskedFor]:
    found: dict[str, AskedFor] = {}
    for entry in entries:
        request_id = str(entry.data.get("request_id", ""))
        if entry.kind == Kind.REQUEST_OPENED:
            found[request_id] = AskedFor(entry)
        elif entry.kind == Kind.REQUEST_CLOSED:
            found[request_id].outcome = entry.data["outcome"]
        elif entry.kind in {Kind.REQUEST_ASKED, Kind.REQUEST_REPLIED}:
            found[request_id].said.append(entry)
    return list(found.values())


def _not_settled(job: Job, supplied: dict[str, str]) -> int:
    left = {"", SuppliedTick.State.RECEIVED.value}
    return sum(supplied[item] in left for item in set(job.supplied))
