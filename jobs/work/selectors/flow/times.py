"""What is on record of where cars' time went, for many cars in six queries at most."""

from collections import defaultdict
from collections.abc import Collection, Iterable
from datetime import datetime
from typing import Any
from uuid import UUID

from django.db.models import F, Q, QuerySet

from jobs.work.calc.flow.course import CarTimes, Cause, Delay, Entry
from jobs.work.calc.stages.machine import Kind, Stage
from jobs.work.calc.tasks.worktime import Span
from jobs.work.models import FlowCar, HistoryEntry, Job, Spell, WaitClock
from jobs.work.selectors.tasks import Holds, clock_on, holds_of, worked_spans

# What flashes off between coats is waited for as what cures is.
CLOCK_CAUSES = {
    WaitClock.Kind.DRYING: Cause.DRYING,
    WaitClock.Kind.CURE: Cause.CURE,
    WaitClock.Kind.FLASH_OFF: Cause.CURE,
}


def times_of(job_ids: Collection[UUID], *, until: datetime) -> dict[UUID, CarTimes]:
    """Return the times on record of each job; what has not ended goes on until the instant."""
    moves = _by_job(
        (row.job_id, Entry(Stage(row.to_stage), row.occurred_at)) for row in _moves(job_ids)
    )
    held = holds_of(job_ids)
    holds = _by_job(
        (row.job_id, Delay(Cause(row.cause), Span(row.started_at, row.ended_at or until)))
        for rows in held.values()
        for row in rows
    )
    spells = _worked(job_ids, held, until)
    clocks = _by_job(
        (row.job_id, Delay(CLOCK_CAUSES[WaitClock.Kind(row.kind)], clock_span(row, until)))
        for row in WaitClock.objects.filter(job_id__in=job_ids).order_by("pk")
    )
    return {
        job_id: CarTimes(moves[job_id], holds[job_id], spells[job_id], clocks[job_id])
        for job_id in job_ids
    }


def _worked(job_ids: Collection[UUID], holds: Holds, until: datetime) -> dict[UUID, list[Span]]:
    """Return the work on each job, a person's each: nobody is on two cars at once."""
    rows = Spell.objects.filter(task__job_id__in=job_ids).select_related("task")
    clocks = [clock_on(row.task.job_id, row, until) for row in rows.order_by("started_at", "pk")]
    worked = worked_spans(clocks, holds, until)
    return _by_job((clock.car, span) for clock in clocks for span in worked[clock.key])


def _moves(job_ids: Collection[UUID]) -> list[HistoryEntry]:
    """Return the moves that stand, in order: one that was corrected never happened."""
    kinds = [Kind.MOVED.value, Kind.CORRECTED.value]
    entries = list(
        HistoryEntry.objects.filter(job_id__in=job_ids, kind__in=kinds)
        .only("job_id", "number", "kind", "to_stage", "occurred_at", "data")
        .order_by("job_id", "number")
    )
    undone = {
        (entry.job_id, entry.data["number"]) for entry in entries if entry.kind == Kind.CORRECTED
    }
    moves = (entry for entry in entries if entry.kind == Kind.MOVED)
    return [move for move in moves if (move.job_id, move.number) not in undone]


def clock_span(clock: WaitClock, until: datetime) -> Span:
    """Return how long a car waits for a clock: until it is done, or was found to be.

    What is halted is waited for until the instant that the times are asked for.

    What is done and asks for a touch test waits for a person from then on, not for the clock.
    """
    ends = [end for end in (clock.closed_at, clock.ends_at) if end is not None]
    return Span(clock.started_at, max(min(ends, default=until), clock.started_at))


def _by_job(pairs: Iterable[tuple[UUID, Any]]) -> dict[UUID, list[Any]]:
    found: dict[UUID, list[Any]] = defaultdict(list)
    for job_id, value in pairs:
        found[job_id].append(value)
    return found


def cars_to_note(*, since: datetime | None = None) -> QuerySet[Job]:
    """Return the jobs that became ready and whose time is not kept, or is of another time.

    `since`: only of those that changed since then, which an index tells.
    """
    unlike = Q(flow__isnull=True) | ~Q(flow__ready_at=F("ready_at"))
    ready = Job.objects.filter(ready_at__isnull=False, arrived_at__isnull=False)
    if since is not None:
        ready = ready.filter(updated_at__gte=since)
    return ready.filter(unlike).order_by("-pk")


def cars_to_take_back(*, since: datetime | None = None) -> QuerySet[FlowCar]:
    """Return what is kept of cars that are not ready any more; `since` as with `cars_to_note`."""
    kept = FlowCar.objects.filter(job__ready_at__isnull=True)
    # One that is not ready any more and changed lately is open: an index tells which are.
    return kept if since is None else kept.filter(job__updated_at__gte=since, job__is_open=True)
