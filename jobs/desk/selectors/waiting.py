"""What waits on whom: on the dealer, on the workshop, or on time. Eight queries in all."""

from collections import defaultdict
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum
from uuid import UUID

from django.db.models import OuterRef, Q, Subquery

from accounts.caller import Caller
from jobs.desk.selectors.cars import MOST_CARS, cars_here
from jobs.work.calc.findings import SAFE, Over, Weight
from jobs.work.calc.stages.machine import Decision, Stage
from jobs.work.models import (
    Belonging,
    Finding,
    Hold,
    Job,
    RequestMessage,
    ScopeChange,
    SuppliedTick,
    WaitClock,
    WalkRound,
    WorkRequest,
)
from jobs.work.selectors.curing.clocks import LAST_TO_END, running_at
from jobs.work.selectors.jobs.jobs import jobs_of


class Whom(StrEnum):
    """On whom something waits."""

    DEALER = "dealer"
    US = "us"
    TIME = "time"


class Awaited(StrEnum):
    """What is waited for."""

    DO_NOT_DRIVE = "do_not_drive"
    NOT_CLEARED = "not_cleared"
    FINDINGS = "findings"
    REQUEST = "request"
    SUPPLIED = "supplied"
    DECISION_HOLD = "decision_hold"
    ORDER = "order"
    QUESTION = "question"
    CHANGE = "change"
    BELONGING = "belonging"
    LEAVING = "leaving"
    TOUCH = "touch"
    CLOCK = "clock"
    HOLD = "hold"


ON = {
    Awaited.DO_NOT_DRIVE: Whom.DEALER,
    Awaited.NOT_CLEARED: Whom.DEALER,
    Awaited.FINDINGS: Whom.DEALER,
    Awaited.REQUEST: Whom.DEALER,
    Awaited.SUPPLIED: Whom.DEALER,
    Awaited.DECISION_HOLD: Whom.DEALER,
    Awaited.ORDER: Whom.US,
    Awaited.QUESTION: Whom.US,
    Awaited.CHANGE: Whom.US,
    Awaited.BELONGING: Whom.US,
    Awaited.LEAVING: Whom.US,
    Awaited.TOUCH: Whom.US,
    Awaited.CLOCK: Whom.TIME,
    Awaited.HOLD: Whom.TIME,
}


@dataclass(frozen=True, slots=True)
class Waiting:
    """One thing that waits: of which car, what, since when, until when where that is known.

    `ref` is the id, or the number, of what it is about; `holds` says that the car is held for it.
    """

    job: Job
    what: Awaited
    about: str
    since: datetime
    until: datetime | None = None
    ref: UUID | int | None = None
    holds: bool = False


def waiting_of(caller: Caller, at: datetime) -> dict[Whom, list[Waiting]]:
    """Return what waits on each, the longest wait first; a "do not drive" before all else."""
    jobs = {job.pk: job for job in cars_here(caller)[:MOST_CARS]}
    found = [
        *_orders(jobs.values()),
        *_of_findings(caller, jobs),
        *_of_requests(jobs),
        *_of_changes(jobs),
        *_of_leaving(jobs),
        *_of_supplied(jobs),
        *_of_holds(jobs),
        *_of_clocks(jobs, at),
    ]
    found.sort(key=lambda wait: (_danger_first(wait.what), wait.since, wait.job.pk))
    return {whom: [wait for wait in found if ON[wait.what] is whom] for whom in Whom}


def _danger_first(what: Awaited) -> int:
    """Return where a wait stands: what nobody knows of, what nobody has ended, all else."""
    return {Awaited.DO_NOT_DRIVE: 0, Awaited.NOT_CLEARED: 1}.get(what, 2)


def _orders(jobs: Iterable[Job]) -> Iterator[Waiting]:
    for job in jobs:
        if job.decision == Decision.AWAITED:
            yield Waiting(job, Awaited.ORDER, "", job.received_at)


def _of_findings(caller: Caller, jobs: dict[UUID, Job]) -> Iterator[Waiting]:
    """Yield findings to acknowledge and things to give back.

    Things, and a car that must not be driven, count after the car has gone as well.
    """
    here = Belonging.THINGS
    things = Q(belonging__what__in=here, belonging__returned_at__isnull=True)
    stop = Q(weight=Weight.DO_NOT_DRIVE.value)
    danger = stop & Q(acknowledged_at__isnull=True) & ~Q(over_how__in=SAFE)
    standing = stop & Q(over_how="", job_id__in=list(jobs))
    mine = Q(job_id__in=list(jobs), acknowledged_at__isnull=True) & ~Q(over_how=Over.WITHDRAWN)
    wanted = things | danger | standing | mine
    findings = Finding.objects.filter(wanted, job__in=jobs_of(caller))
    quiet: dict[UUID, list[Finding]] = defaultdict(list)
    for finding in findings.select_related("job__dealer", "belonging", "hold").order_by("pk"):
        job = jobs.get(finding.job_id, finding.job)
        belonging = getattr(finding, "belonging", None)
        if belonging and belonging.is_thing and belonging.returned_at is None:
            kept = f"{finding.noticed.rstrip('.')}, kept: {belonging.kept_at}"
            yield Waiting(job, Awaited.BELONGING, kept, finding.occurred_at, ref=belonging.pk)
        if finding.must_not_be_driven and not (finding.acknowledged_at and finding.over_how):
            held = finding.hold is not None and finding.hold.ended_at is None
            what = Awaited.NOT_CLEARED if finding.acknowledged_at else Awaited.DO_NOT_DRIVE
            yield Waiting(
                job, what, finding.noticed, finding.occurred_at, ref=finding.pk, holds=held
            )
        elif finding.acknowledged_at is None and finding.job_id in jobs:
            quiet[finding.job_id].append(finding)
    yield from (_quiet(jobs[job_id], rows) for job_id, rows in quiet.items())


def _quiet(job: Job, findings: Sequence[Finding]) -> Waiting:
    """Return one line for the findings of a car that the dealer has still to read."""
    first = findings[0]
    said = first.noticed.rstrip(".")
    more = f" (and {len(findings) - 1} more)" if len(findings) > 1 else ""
    return Waiting(job, Awaited.FINDINGS, f"{said}{more}", first.occurred_at)


def _of_requests(jobs: dict[UUID, Job]) -> Iterator[Waiting]:
    last = RequestMessage.objects.filter(request=OuterRef("pk")).order_by("-pk")
    requests = WorkRequest.objects.filter(job_id__in=list(jobs), state=WorkRequest.State.OPEN)
    requests = requests.select_related("hold").annotate(
        last_side=Subquery(last.values("side")[:1]),
        last_text=Subquery(last.values("text")[:1]),
        last_at=Subquery(last.values("occurred_at")[:1]),
    )
    for request in requests.order_by("pk"):
        side, text = getattr(request, "last_side", None), getattr(request, "last_text", None)
        since = getattr(request, "last_at", None) or request.opened_at
        asks = side == RequestMessage.Side.DEALER
        yield Waiting(
            jobs[request.job_id],
            Awaited.QUESTION if asks else Awaited.REQUEST,
            f"{request.what}: “{text}”" if asks else request.what,
            since,
            request.answer_by,
            request.pk,
            holds=request.hold is not None and request.hold.ended_at is None,
        )


def _of_changes(jobs: dict[UUID, Job]) -> Iterator[Waiting]:
    unseen = ScopeChange.objects.filter(job_id__in=list(jobs), seen_at__isnull=True)
    for scope_change in unseen.select_related("entry").order_by("pk"):
        names = [change["field"].replace("_", " ") for change in scope_change.entry.data["changes"]]
        about = ", ".join(names)
        yield Waiting(
            jobs[scope_change.job_id],
            Awaited.CHANGE,
            about,
            scope_change.entry.occurred_at,
            ref=scope_change.entry.number,
        )


def _of_leaving(jobs: dict[UUID, Job]) -> Iterator[Waiting]:
    leaving = [
        job
        for job in jobs.values()
        if job.arrived_at is not None and (job.stage == Stage.READY or job.cancelled_at is not None)
    ]
    walked = set(
        WalkRound.objects.filter(
            job_id__in=[job.pk for job in leaving], occasion=WalkRound.Occasion.LEAVING
        ).values_list("job_id", flat=True)
    )
    for job in leaving:
        if job.pk not in walked:
            since = job.cancelled_at or job.ready_at or job.updated_at
            yield Waiting(job, Awaited.LEAVING, "", since)


def _of_supplied(jobs: dict[UUID, Job]) -> Iterator[Waiting]:
    """Yield what a dealer supplies and has not brought yet, a line for each car."""
    supplied = [job for job in jobs.values() if job.supplied and job.cancelled_at is None]
    come: dict[UUID, set[str]] = defaultdict(set)
    ticks = SuppliedTick.objects.filter(job_id__in=[job.pk for job in supplied])
    for job_id, item in ticks.values_list("job_id", "item"):
        come[job_id].add(item)
    for job in supplied:
        missing = [item for item in dict.fromkeys(job.supplied) if item not in come[job.pk]]
        if missing:
            yield Waiting(job, Awaited.SUPPLIED, ", ".join(missing), job.received_at)


def _of_holds(jobs: dict[UUID, Job]) -> Iterator[Waiting]:
    """Yield the holds that nothing else in this list stands for."""
    holds = Hold.objects.filter(
        job_id__in=list(jobs), ended_at__isnull=True, finding__isnull=True, request__isnull=True
    )
    for hold in holds.order_by("pk"):
        decision = hold.cause == Hold.Cause.DECISION
        what = Awaited.DECISION_HOLD if decision else Awaited.HOLD
        about = ": ".join(filter(None, (hold.get_cause_display(), hold.reason)))
        yield Waiting(jobs[hold.job_id], what, about, hold.started_at, ref=hold.pk, holds=True)


def _of_clocks(jobs: dict[UUID, Job], at: datetime) -> Iterator[Waiting]:
    """Yield for each car what ought to be dry and nobody has felt, and what takes the longest."""
    last: dict[UUID, WaitClock] = {}
    running = WaitClock.objects.filter(running_at(at), job_id__in=list(jobs))
    for clock in running.select_related("task").order_by(LAST_TO_END, "pk"):
        if clock.touch_test and clock.ends_at is not None and clock.ends_at <= at:
            job = jobs[clock.job_id]
            yield Waiting(job, Awaited.TOUCH, clock.task.name, clock.ends_at, ref=clock.pk)
        else:
            last[clock.job_id] = clock
    for clock in last.values():
        words = f"{clock.task.name}: {clock.get_kind_display()}"
        about = f"{words}, {clock.get_halted_display()}" if clock.halted else words
        yield Waiting(jobs[clock.job_id], Awaited.CLOCK, about, clock.started_at, clock.ends_at)
