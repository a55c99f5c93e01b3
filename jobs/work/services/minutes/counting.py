"""Actual minutes: counted when work ends, and again when a hold or a clock is told of late.

Minutes that are far from what such work takes here are marked, so that somebody is asked.
"""

from collections.abc import Collection
from datetime import datetime
from uuid import UUID

from django.db.models import Q, QuerySet

from accounts.models import Person
from jobs.work.calc.minutes.doubt import doubtful, hardly_measured
from jobs.work.calc.tasks.worktime import seconds_of, whole_minutes
from jobs.work.models import Job, Spell, Task
from jobs.work.selectors.minutes import expected_minutes
from jobs.work.selectors.tasks import clock_on, holds_of, started_earlier, worked_spans

# What `minutes_take` changes of a task.
MINUTES = ("actual_minutes", "told_minutes", "doubt")


def task_seconds(job: Job, task: Task) -> float:
    """Return the seconds of people's work in the task's ended spells that count for it.

    Holds of the job are taken out, and so is what the same people spent on a clock they started
    later.
    """
    spells = task.spells.filter(ended_at__isnull=False)
    ends = [spell.ended_at for spell in spells if spell.ended_at is not None]
    last = max(ends, default=job.received_at)
    clocks = [clock_on(job.pk, spell, last) for spell in spells]
    worked = worked_spans(clocks, holds_of([job.pk]), last)
    return sum(seconds_of(worked[clock.key]) for clock in clocks)


def minutes_take(job: Job, task: Task, *, done: bool) -> None:
    """Count the task's minutes; where it is done, mark those that are to be asked about.

    Work that is taken up again adds to what somebody told, and is asked about anew where that
    makes it doubtful. The caller saves.
    """
    seconds = task_seconds(job, task)
    before, task.actual_minutes = task.actual_minutes or 0, whole_minutes(seconds)
    added = max(0, task.actual_minutes - before)
    if task.told_minutes is not None:
        task.told_minutes += added
    answered = task.doubt in {Task.Doubt.RIGHT, Task.Doubt.FORGOTTEN}
    if done and (added or not answered):
        task.doubt = Task.Doubt.ASKED if _doubtful(job, task, seconds) else _ordinary(task)


def _doubtful(job: Job, task: Task, seconds: float) -> bool:
    if task.told_minutes is not None:
        return doubtful(task.told_minutes, expected_minutes(job, task))
    if hardly_measured(seconds):
        return True
    return doubtful(whole_minutes(seconds), expected_minutes(job, task))


def _ordinary(task: Task) -> str:
    """Return the mark of a task that is not to be asked about, or not any more."""
    return Task.Doubt.NONE if task.doubt == Task.Doubt.ASKED else task.doubt


def people_lock(person_ids: Collection[UUID | None]) -> None:
    """Lock people while their clocks are counted, so that two cars cannot be counted at once.

    A minute of theirs that goes to one car is taken from another.
    """
    people = Person.objects.filter(
        pk__in={person_id for person_id in person_ids if person_id is not None}
    )
    list(people.select_for_update(no_key=True).order_by("pk").values_list("pk"))


def minutes_recount(job: Job, *, since: datetime) -> None:
    """Count again what ended after `since`, from where a hold now lasts, on other cars too.

    A tablet that was out of reach tells of a hold when the work it fell into may be long done. What
    a person did not do here then, a clock started earlier on another car did.
    """
    touched = Q(ended_at__isnull=True) | Q(ended_at__gt=since)
    spells = Spell.objects.filter(touched, task__job=job)
    people_lock(spells.values_list("person", flat=True).distinct())
    _recount(spells.filter(ended_at__isnull=False))
    minutes_recount_beside(spells.values_list("pk", flat=True))


def minutes_recount_beside(spells: Collection[UUID]) -> None:
    """Count again what these spells take their time from: clocks that were started earlier."""
    _recount(started_earlier(spells))


def _recount(spells: QuerySet[Spell]) -> None:
    """Count the tasks of these spells again, as far as they have been counted before."""
    tasks = Task.objects.filter(pk__in=spells.values("task"), actual_minutes__isnull=False)
    for task in tasks.select_related("job").order_by("pk"):
        seconds = task_seconds(task.job, task)
        minutes = whole_minutes(seconds)
        if minutes == task.actual_minutes:
            continue
        task.actual_minutes = minutes
        Task.objects.filter(pk=task.pk).update(actual_minutes=minutes)
        # Only what nobody has answered yet, also where somebody answers just now.
        if task.state == Task.State.FINISHED and task.doubt in {Task.Doubt.NONE, Task.Doubt.ASKED}:
            doubt = Task.Doubt.ASKED if _doubtful(task.job, task, seconds) else Task.Doubt.NONE
            Task.objects.filter(pk=task.pk, doubt=task.doubt).update(doubt=doubt)
