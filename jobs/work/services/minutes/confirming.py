"""How dirty a car came in, and how long a task really took where its minutes were doubtful."""

from datetime import datetime
from uuid import UUID

from django.db import transaction

from accounts.caller import Caller
from core.problems import InvalidRequest, NotFound
from jobs.work.calc.stages.machine import Kind, Refusal, refuse_noting
from jobs.work.models import HistoryEntry, Job, Task
from jobs.work.selectors.jobs.jobs import job_for_change
from jobs.work.services.jobs.recording import advance, check, store


@transaction.atomic
def soiling_note(*, caller: Caller, job_id: UUID, level: int, occurred_at: datetime) -> Job:
    """Record how dirty the car came in, from 1 to 5; noting another level changes it.

    A note that is told late does not undo a newer one, and the same again changes nothing.
    """
    job = job_for_change(caller, job_id)
    check(job, refuse_noting(job.state))
    newer = HistoryEntry.objects.filter(
        job=job, kind=Kind.SOILING_NOTED.value, occurred_at__gt=occurred_at
    )
    if job.soiling == level or newer.exists():
        return job
    data = {"level": level, "was": job.soiling}
    job.soiling = level
    entry = advance(job, kind=Kind.SOILING_NOTED, caller=caller, occurred_at=occurred_at, data=data)
    store(job, [entry])
    return job


@transaction.atomic
def minutes_tell(
    *,
    caller: Caller,
    job_id: UUID,
    task_id: UUID,
    minutes: int | None,
    occurred_at: datetime,
    reason: str = "",
) -> Task:
    """Record that a finished task's minutes are right (None), or how many it really took.

    What was measured stays beside it. The same answer again changes nothing; another one takes
    its place, unless it was given earlier and only comes late. Raises InvalidRequest where nothing
    was measured that could be right.
    """
    job = job_for_change(caller, job_id)
    task = job.tasks.filter(pk=task_id).first()
    if task is None:
        raise NotFound("This job has no such task.")
    if task.state != Task.State.FINISHED:
        check(job, Refusal("not_finished", "This task is not finished.", "Finish it first."))
    if minutes is None and not task.actual_minutes:
        message = "No minutes were measured that could be right; tell how long it took."
        raise InvalidRequest(message, errors=[{"field": "right", "message": message}])
    doubt = Task.Doubt.RIGHT if minutes is None else Task.Doubt.FORGOTTEN
    if (task.doubt, task.told_minutes) == (doubt, minutes) or _told_since(task, occurred_at):
        return task
    task.doubt, task.told_minutes = doubt, minutes
    task.save(update_fields=["doubt", "told_minutes"])
    data = {
        "task_id": str(task.pk),
        "operation": task.operation,
        "name": task.name,
        "minutes": task.actual_minutes if minutes is None else minutes,
        "measured_minutes": task.actual_minutes,
        "right": minutes is None,
    }
    entry = advance(
        job,
        kind=Kind.MINUTES_TOLD,
        caller=caller,
        occurred_at=occurred_at,
        reason=reason,
        data=data,
    )
    store(job, [entry])
    return task


def _told_since(task: Task, occurred_at: datetime) -> bool:
    """Return whether a newer answer about the task was given."""
    answers = HistoryEntry.objects.filter(
        job_id=task.job_id, kind=Kind.MINUTES_TOLD.value, occurred_at__gt=occurred_at
    )
    return any(entry.data["task_id"] == str(task.pk) for entry in answers)
