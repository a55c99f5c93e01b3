"""Holds: the job waits for something, and its working clock stops."""

from datetime import datetime
from uuid import UUID

from django.db import transaction

from accounts.caller import Caller
from core.problems import InvalidRequest, NotFound
from jobs.work import events
from jobs.work.calc.stages.machine import Kind, Refusal, refuse_work
from jobs.work.models import Finding, Hold, Job
from jobs.work.selectors.jobs.jobs import job_for_change
from jobs.work.services.jobs.recording import advance, check, check_version, event_tell, store
from jobs.work.services.minutes.counting import minutes_recount


@transaction.atomic
def hold_begin(
    *,
    caller: Caller,
    job_id: UUID,
    cause: str,
    occurred_at: datetime,
    reason: str = "",
    made_against: int | None = None,
) -> Job:
    """Put the job on hold; it may wait for several things at once."""
    job = job_for_change(caller, job_id)
    check_version(job, made_against)
    check(job, refuse_work(job.state))
    hold_open(
        job,
        caller=caller,
        cause=cause,
        occurred_at=occurred_at,
        reason=reason,
        made_against=made_against,
    )
    return job


def hold_open(
    job: Job,
    *,
    caller: Caller,
    cause: str,
    occurred_at: datetime,
    reason: str = "",
    made_against: int | None = None,
) -> Hold:
    """Begin a hold on a job whose row is locked, in the caller's transaction."""
    hold = Hold.objects.create(job=job, cause=cause, reason=reason, started_at=occurred_at)
    minutes_recount(job, since=occurred_at)
    data = {"hold_id": str(hold.pk), "cause": cause}
    entry = advance(
        job,
        kind=Kind.HELD,
        caller=caller,
        occurred_at=occurred_at,
        reason=reason,
        made_against=made_against,
        data=data,
    )
    store(job, [entry])
    notice = {"job": events.job_data(job), "reason": reason, **data}
    event_tell(events.JOB_HELD, job, occurred_at, notice)
    return hold


@transaction.atomic
def hold_release(
    *,
    caller: Caller,
    job_id: UUID,
    hold_id: UUID,
    occurred_at: datetime,
    reason: str = "",
    made_against: int | None = None,
) -> Job:
    """End one hold. Raises NotFound, Refused where it ended before, StaleVersion."""
    job = job_for_change(caller, job_id)
    check_version(job, made_against)
    hold = job.holds.filter(pk=hold_id).first()
    if hold is None:
        raise NotFound("This job has no such hold.")
    if hold.ended_at is not None:
        check(job, Refusal("released", "This hold ended before.", "Nothing is to be done."))
    check(job, _refuse_not_over(hold))
    if occurred_at < hold.started_at:
        message = f"The hold began at {hold.started_at.isoformat()}; it cannot end before."
        raise InvalidRequest(message, errors=[{"field": "occurred_at", "message": message}])
    hold_close(
        job,
        hold,
        caller=caller,
        occurred_at=occurred_at,
        reason=reason,
        made_against=made_against,
    )
    return job


def _refuse_not_over(hold: Hold) -> Refusal | None:
    """Return why the hold of a "do not drive" is not ended by hand, or None for any other."""
    if not Finding.objects.filter(hold=hold, over_how="").exists():
        return None
    return Refusal(
        "not_cleared",
        "The car must not be driven: nobody moves it until it is repaired or will be transported.",
        "Record on the finding who repaired it, or who transports it; where it was a mistake, who "
        "reported it or a manager withdraws it. The hold then ends.",
    )


def hold_close(
    job: Job,
    hold: Hold,
    *,
    caller: Caller,
    occurred_at: datetime,
    reason: str = "",
    made_against: int | None = None,
) -> None:
    """End an open hold of a job whose row is locked, in the caller's transaction."""
    hold.ended_at = occurred_at
    hold.save(update_fields=["ended_at"])
    minutes_recount(job, since=hold.started_at)
    data = {"hold_id": str(hold.pk), "cause": hold.cause}
    entry = advance(
        job,
        kind=Kind.RELEASED,
        caller=caller,
        occurred_at=occurred_at,
        reason=reason,
        made_against=made_against,
        data=data,
    )
    store(job, [entry])
    event_tell(
        events.JOB_RELEASED,
        job,
        occurred_at,
        {"job": events.job_data(job), "reason": reason, **data},
    )
