"""Touch tests: somebody felt whether what was wet is dry, which alone ends such a clock."""

from bisect import bisect_left
from datetime import UTC, datetime
from math import ceil
from uuid import UUID

from django.db import transaction
from django.utils.timezone import localtime

from accounts.caller import Caller
from core.clock import now
from core.problems import InvalidRequest, NotFound
from jobs.work.calc.catalogue.workshop import MOST_WAIT_MINUTES
from jobs.work.calc.stages.machine import Kind, Refusal, refuse_noting
from jobs.work.models import HistoryEntry, Job, TouchTest, WaitClock
from jobs.work.selectors.curing.clocks import estimate_of, readings_of
from jobs.work.selectors.jobs.jobs import job_for_change
from jobs.work.services.curing.clocks import renew, tell_wait
from jobs.work.services.curing.settling import finish_waits
from jobs.work.services.jobs.recording import advance, check

DRY = "It was found dry."
DAMP = "It is still damp."
# A damp one gets this share of its minutes more. Our own figure.
MORE_OF_IT = 4
NEVER = datetime.max.replace(tzinfo=UTC)


@transaction.atomic
def touch_test_record(
    *,
    caller: Caller,
    job_id: UUID,
    clock_id: UUID,
    dry: bool,
    occurred_at: datetime,
    note: str = "",
) -> WaitClock:
    """Record that somebody felt it; dry ends the clock, damp gives it more time and asks again.

    Dry may be found before the sums say so. Damp after dry opens the clock again: then the first
    hand was wrong. A test told late changes nothing that a later one found. Raises Refused for a
    clock that ends by itself, InvalidRequest for a test before the work was done.
    """
    job = job_for_change(caller, job_id)
    clock = job.clocks.select_related("task").filter(pk=clock_id).first()
    if clock is None:
        raise NotFound("This job has no such clock.")
    check(job, refuse_noting(job.state))
    check(job, _refuse(clock))
    if occurred_at < clock.started_at:
        began = localtime(clock.started_at).isoformat()
        message = f"It dries since {began}; it cannot have been felt before."
        raise InvalidRequest(message, errors=[{"field": "occurred_at", "message": message}])
    newest = not clock.touch_tests.filter(occurred_at__gt=occurred_at).exists()
    TouchTest.objects.create(
        clock=clock,
        dry=dry,
        note=note,
        occurred_at=occurred_at,
        recorded_at=now(),
        actor=caller.name,
        actor_person_id=caller.person_id,
    )
    entry = _entry(job, clock, caller, dry=dry, occurred_at=occurred_at, note=note)
    if newest:
        _apply(clock, dry=dry, at=occurred_at)
    renewed = renew(job)
    moved = tell_wait(job, renewed, caller=caller, reason=DRY if dry else DAMP)
    finish_waits(job, renewed, [entry, *moved])
    return next((twin for twin in renewed.clocks if twin.pk == clock.pk), clock)


def _refuse(clock: WaitClock) -> Refusal | None:
    if clock.touch_test:
        return None
    return Refusal(
        "no_touch_test",
        f"{clock.task.name}: this ends by itself; nobody has to feel it.",
        "Wait until it ends, or let a manager override with a reason.",
    )


def _apply(clock: WaitClock, *, dry: bool, at: datetime) -> None:
    if dry:
        clock.closed_at = clock.closed_at or at
    else:
        clock.closed_at, clock.settled_at = None, None
        clock.reference_minutes, clock.summed_width = _more_minutes(clock, at), None
    clock.save(update_fields=["closed_at", "settled_at", "reference_minutes", "summed_width"])


def _more_minutes(clock: WaitClock, at: datetime) -> int | None:
    """Return a quarter more than it had, or than what has passed where that was to be enough."""
    minutes = clock.reference_minutes
    if minutes is None:
        return None
    readings = readings_of(clock.job.workshop_id, [clock])

    def ends(tried: int) -> datetime:
        estimate = estimate_of(clock, readings, at=at, minutes=tried)
        latest = estimate.latest_at if estimate else clock.ends_at
        return latest or NEVER

    tries = range(minutes, MOST_WAIT_MINUTES)
    passed = minutes + bisect_left(tries, at, key=ends)
    return min(passed + ceil(minutes / MORE_OF_IT), MOST_WAIT_MINUTES)


def _entry(
    job: Job, clock: WaitClock, caller: Caller, *, dry: bool, occurred_at: datetime, note: str
) -> HistoryEntry:
    data = {
        "clock_id": str(clock.pk),
        "task_id": str(clock.task_id),
        "operation": clock.task.operation,
        "name": clock.task.name,
        "dry": dry,
    }
    return advance(
        job,
        kind=Kind.TOUCH_TESTED,
        caller=caller,
        occurred_at=occurred_at,
        reason=note,
        data=data,
    )
