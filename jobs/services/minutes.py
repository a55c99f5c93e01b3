"""Actual minutes: counted when work ends, and again when a hold is told of late.

Minutes that are far from what such work takes here are marked, so that somebody is asked.
"""

from datetime import datetime

from jobs.calc.minutes_doubt import doubtful
from jobs.calc.worktime import Span, worked_minutes
from jobs.models import Job, Task
from jobs.selectors.durations import expected_minutes

# What `minutes_take` changes of a task.
MINUTES = ("actual_minutes", "told_minutes", "doubt")


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


def minutes_take(job: Job, task: Task, *, done: bool) -> None:
    """Count the task's minutes; where it is done, mark those that are to be asked about.

    Work that is taken up again adds to what somebody told, and is asked about anew where that
    makes it doubtful. The caller saves.
    """
    before, task.actual_minutes = task.actual_minutes or 0, task_minutes(job, task)
    added = max(0, task.actual_minutes - before)
    if task.told_minutes is not None:
        task.told_minutes += added
    answered = task.doubt in {Task.Doubt.RIGHT, Task.Doubt.FORGOTTEN}
    if done and (added or not answered):
        task.doubt = Task.Doubt.ASKED if _doubtful(job, task) else _ordinary(task)


def _doubtful(job: Job, task: Task) -> bool:
    told, measured = task.told_minutes, task.actual_minutes or 0
    minutes = measured if told is None else told
    return minutes > 0 and doubtful(minutes, expected_minutes(job, task))


def _ordinary(task: Task) -> str:
    """Return the mark of a task that is not to be asked about, or not any more."""
    return Task.Doubt.NONE if task.doubt == Task.Doubt.ASKED else task.doubt


def minutes_recount(job: Job, *, since: datetime) -> None:
    """Count again what ended after `since`, from where a hold now lasts.

    A tablet that was out of reach tells of a hold when the work it fell into may be long done.
    """
    counted = job.tasks.filter(actual_minutes__isnull=False, spells__ended_at__gt=since)
    for task in counted.distinct().prefetch_related("spells"):
        minutes = task_minutes(job, task)
        if minutes != task.actual_minutes:
            task.actual_minutes = minutes
            if task.doubt == Task.Doubt.ASKED and not _doubtful(job, task):
                task.doubt = Task.Doubt.NONE  # the hold was what made it look so long
            task.save(update_fields=MINUTES)
