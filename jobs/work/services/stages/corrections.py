"""A manager puts the record right: the last step of a car was a mistake, and counts as none."""

from datetime import datetime
from typing import Any
from uuid import UUID

from django.db import IntegrityError, transaction

from accounts.caller import Caller
from jobs.work import events
from jobs.work.calc.stages.machine import Kind, Stage, refuse_correction
from jobs.work.models import HistoryEntry, Job
from jobs.work.problems import refused
from jobs.work.selectors.jobs.jobs import job_for_change
from jobs.work.selectors.stages import ready_since, refusal_to_undo, step_standing
from jobs.work.services.curing.clocks import clocks_reopen
from jobs.work.services.flow import flow_note
from jobs.work.services.jobs.recording import advance, check, check_version, event_tell, store


@transaction.atomic
def job_correct(
    *,
    caller: Caller,
    job_id: UUID,
    made_against: int,
    occurred_at: datetime,
    reason: str = "",
) -> Job:
    """Undo the last arrival, move or collection that stands; whoever was told of it is told.

    It is no rework, and the time of the step counts where the car really was. What closed with a
    collection (a request that nobody answered) stays closed. Raises StaleVersion and Refused.
    """
    job = job_for_change(caller, job_id)
    check_version(job, made_against)
    step = step_standing(job)
    check(job, refusal_to_undo(job, step))
    if step is None:  # refused above
        return job
    try:
        with transaction.atomic():
            _undo(job, step, caller, occurred_at, reason)
    except IntegrityError as error:
        if "unique" not in str(error).lower():
            raise
        # Another order for the vehicle came at this very moment.
        job = job_for_change(caller, job_id)
        refusal = refuse_correction(job.state, Kind.COLLECTED, ordered_again=True)
        if refusal is None:
            raise
        raise refused(job, refusal) from error
    return job


def _undo(job: Job, step: HistoryEntry, caller: Caller, occurred_at: datetime, reason: str) -> None:
    kind = Kind(step.kind)
    origin, to = Stage(job.stage), Stage(step.from_stage) if kind is Kind.MOVED else None
    left = step_standing(job, before=step.number)
    if kind is Kind.MOVED:
        to_ready = to is Stage.READY
        job.ready_at = ready_since(job, before=step.number) if to_ready else None
    data: dict[str, Any] = {
        "undoes": kind.value,
        "number": step.number,
        "left": left.number if left else 0,
        "ready_at": job.ready_at.isoformat() if job.ready_at else None,
    }
    made_against = job.version
    entry = advance(
        job,
        kind=Kind.CORRECTED,
        caller=caller,
        to=to,
        occurred_at=max(occurred_at, step.occurred_at),
        reason=reason,
        made_against=made_against,
        data=data,
    )
    store(job, [entry])
    if kind is Kind.COLLECTED:
        clocks_reopen(job)
    if Stage.READY in {origin, to}:
        flow_note(job)
    _tell_corrected(job, kind, origin, to, entry)


def _tell_corrected(
    job: Job, kind: Kind, origin: Stage, to: Stage | None, entry: HistoryEntry
) -> None:
    """Tell everybody who takes what was told wrongly, whether or not they take corrections."""
    names = {
        Kind.ARRIVED: [events.JOB_ARRIVED.name],
        Kind.COLLECTED: [events.JOB_COLLECTED.name],
        Kind.MOVED: [events.JOB_STAGE_CHANGED.name],
    }[kind]
    if to is not None and origin is Stage.READY:
        names.append(events.JOB_READY.name)
    data = {
        "job": events.job_data(job),
        "headline": events.corrected_headline(kind, origin, to),
        "undid": kind.value,
        "from_stage": origin.value,
        "to_stage": (to or origin).value,
        "reason": entry.reason,
    }
    event_tell(events.JOB_CORRECTED, job, entry.occurred_at, data, also_types=names)
