"""Actual minutes: counted when work ends, and again when a hold is told of late."""

from datetime import datetime

from jobs.calc.worktime import Span, worked_minutes
from jobs.models import Job, Task


def task_minutes(job: Job, task: Task) -> int:
    """Return the person-minutes of the task's ended spells, the job's holds taken out."""
    spells = [
        Span(spell.started_at, spell.ended_at)
        for spell in task.spells.all()
        if spell.ended_at is not None
    ]
    last = max((spell.end for spell in spells), default=job.received_at)
    holds = [Span(hold.started_at, hold.ended_at or last) for hold in job.holds.all()]
    return worked_minutes(spells, holds)


def minutes_recount(job: Job, *, since: datetime) -> None:
    """Count again what ended after `since`, from where a hold now lasts.

    A tablet that was out of reach tells of a hold when the work it fell into may be long done.
    """
    counted = job.tasks.filter(actual_minutes__isnull=False, spells__ended_at__gt=since)
    for task in counted.distinct().prefetch_related("spells"):
        minutes = task_minutes(job, task)
        if minutes != task.actual_minutes:
            task.actual_minutes = minutes
            task.save(update_fields=["actual_minutes"])
