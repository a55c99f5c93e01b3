"""The car's way: arrival, moves from stage to stage, collection."""

from datetime import datetime
from uuid import UUID

from django.db import transaction

from accounts.caller import Caller, Scope
from core.problems import NotAllowed
from jobs.work import events
from jobs.work.calc.stages.left_open import LeftOpen
from jobs.work.calc.stages.machine import (
    CLOCK_RUNNING,
    Kind,
    Stage,
    refuse_arrival,
    refuse_collection,
    refuse_move,
)
from jobs.work.models import Job
from jobs.work.problems import still_waiting, to_confirm
from jobs.work.selectors.curing.clocks import is_running
from jobs.work.selectors.jobs.jobs import job_for_change
from jobs.work.selectors.jobs.reminders import (
    found_on,
    left_open_for_collection,
    left_open_for_ready,
    reminders_of,
)
from jobs.work.services.curing.clocks import clocks_close, renew, tell_wait
from jobs.work.services.flow import flow_note
from jobs.work.services.jobs.moving import move_record
from jobs.work.services.jobs.recording import advance, check, check_version, event_tell, store
from jobs.work.services.requests.closing import open_requests_lapse


@transaction.atomic
def car_arrive(
    *,
    caller: Caller,
    job_id: UUID,
    occurred_at: datetime,
    made_against: int | None = None,
    fuel: str = "",
) -> Job:
    """Record that the car is here, and what it runs on where that was said."""
    job = job_for_change(caller, job_id)
    check_version(job, made_against)
    check(job, refuse_arrival(job.state))
    entry = advance(
        job,
        kind=Kind.ARRIVED,
        caller=caller,
        occurred_at=occurred_at,
        made_against=made_against,
        data={"fuel": fuel} if fuel else None,
    )
    job.fuel = fuel or job.fuel
    store(job, [entry])
    event_tell(events.JOB_ARRIVED, job, occurred_at, {"job": events.job_data(job)})
    return job


@transaction.atomic
def stage_move(
    *,
    caller: Caller,
    job_id: UUID,
    to: Stage,
    made_against: int,
    occurred_at: datetime,
    reason: str = "",
    override: bool = False,
    confirm: bool = False,
) -> Job:
    """Move the car to another stage; to ready with tasks open, only where somebody confirms it.

    Clocks are looked at as of `occurred_at`, when the car was really moved: a tablet may send
    later. Raises StaleVersion, Refused, ConfirmationNeeded, or NotAllowed for an override without
    the scope.
    """
    if override and not caller.may(Scope.OVERRIDE):
        raise NotAllowed(
            f"An override needs the scope {Scope.OVERRIDE}.",
            next_step="Let a manager make this move.",
            extra={"required_scope": Scope.OVERRIDE},
        )
    job = job_for_change(caller, job_id)
    check_version(job, made_against)
    # Worked out here as well, so that the answer is right with every worker away.
    renewed = renew(job, as_of=occurred_at)
    running = [clock for clock in renewed.clocks if is_running(clock, occurred_at)]
    refusal = refuse_move(
        job.state, to, reason=reason, clocks_running=bool(running), override=override
    )
    if refusal is not None and refusal.code == CLOCK_RUNNING:
        raise still_waiting(job, running, at=occurred_at)
    check(job, refusal)
    left = left_open_for_ready(job) if to is Stage.READY else LeftOpen()
    check_confirmed(job, left, confirm=confirm)
    move_record(
        job,
        caller=caller,
        to=to,
        occurred_at=occurred_at,
        reason=reason,
        made_against=made_against,
        override=override and bool(running),
        before=[*tell_wait(job, renewed), *([] if running else clocks_close(job, renewed))],
        left_open=left,
    )
    return job


def check_confirmed(job: Job, left: LeftOpen, *, confirm: bool) -> None:
    """Raise ConfirmationNeeded where something is open and nobody said that it may be."""
    if left and not confirm:
        raise to_confirm(job, left)


@transaction.atomic
def car_collect(
    *,
    caller: Caller,
    job_id: UUID,
    occurred_at: datetime,
    reason: str = "",
    confirm: bool = False,
) -> Job:
    """Record that the car was collected.

    Before it is ready, with things of somebody's still here, or with a "do not drive" that the
    dealer has not acknowledged, this needs a reason. With tasks open, no walk-round on leaving, or
    a "do not drive" that is known and not repaired, it has to be confirmed. What was left open is
    kept with it. Raises Refused, ConfirmationNeeded.
    """
    job = job_for_change(caller, job_id)
    found = found_on(job)
    refusal = refuse_collection(
        job.state,
        reason=reason,
        belongings_here=found.things_here,
        not_to_be_driven=found.danger_not_acknowledged,
    )
    check(job, refusal)
    left = left_open_for_collection(job, found)
    check_confirmed(job, left, confirm=confirm)
    left_open = reminders_of(job)
    open_requests_lapse(job, reason="The car was collected.")
    entry = advance(
        job,
        kind=Kind.COLLECTED,
        caller=caller,
        occurred_at=occurred_at,
        reason=reason,
        data={"left_open": [reminder["code"] for reminder in left_open], **left.noted()},
    )
    store(job, [entry])
    if job.ready_at is not None:
        flow_note(job)
    data = {"job": events.job_data(job), "reason": reason, "reminders": left_open}
    event_tell(events.JOB_COLLECTED, job, occurred_at, data)
    return job
