"""Tasks: added, started, paused, finished; minutes are counted with the holds taken out."""

from datetime import datetime
from uuid import UUID

from django.db import transaction
from django.db.models import Q, QuerySet
from django.utils.timezone import localtime

from accounts.caller import Caller
from accounts.selectors import person_of
from core.problems import InvalidRequest, NotFound
from jobs.work.calc.stages.machine import Kind, Refusal, refuse_closed, refuse_work
from jobs.work.models import Job, Spell, Task
from jobs.work.selectors.catalogue import catalogue_of
from jobs.work.selectors.jobs.jobs import job_for_change
from jobs.work.services.catalogue import check_codes, work_refused
from jobs.work.services.curing.clocks import clock_start
from jobs.work.services.jobs.recording import advance, check, store
from jobs.work.services.minutes.counting import (
    MINUTES,
    minutes_recount_beside,
    minutes_take,
    people_lock,
)
from jobs.work.services.products import wait_after


@transaction.atomic
def task_add(
    *,
    caller: Caller,
    job_id: UUID,
    operation: str,
    occurred_at: datetime,
    planned_minutes: int | None = None,
    note: str = "",
) -> Task:
    """Add one operation to the job's tasks. Raises InvalidRequest for one not done here."""
    job = job_for_change(caller, job_id)
    check(job, refuse_closed(job.state))
    catalogue = catalogue_of(job.workshop_id)
    check_codes(work_refused(catalogue, [operation]), "operation")
    entry = catalogue.operations[operation]
    task = Task.objects.create(
        job=job,
        operation=entry.code,
        name=entry.name,
        stage=entry.stage.value,
        planned_minutes=planned_minutes or entry.standard_minutes,
        note=note,
    )
    _write_down(job, Kind.TASK_ADDED, task, caller, occurred_at)
    return task


@transaction.atomic
def task_start(
    *,
    caller: Caller,
    job_id: UUID,
    task_id: UUID,
    occurred_at: datetime,
    person_id: UUID | None = None,
) -> Task:
    """Start a task, join one that others are on, or take a finished one up again as rework."""
    job, task = _task_for_change(caller, job_id, task_id)
    check(job, refuse_work(job.state))
    if job.open_holds:
        check(job, Refusal("held", "The job is on hold.", "Release the hold first."))
    if task.state == Task.State.DROPPED:
        check(job, Refusal("dropped", "This task was dropped.", "Add the operation again."))
    who = _person(caller, person_id)
    if _running(task, who).exists():
        check(job, Refusal("started", "This person is on this task already.", "Finish it first."))
    spell = Spell.objects.create(task=task, person_id=who, started_at=occurred_at)
    people_lock([who])
    minutes_recount_beside([spell.pk])
    task.state = Task.State.STARTED
    task.started_at = task.started_at or occurred_at
    task.finished_at = None
    task.save(update_fields=["state", "started_at", "finished_at"])
    _write_down(job, Kind.TASK_STARTED, task, caller, occurred_at)
    return task


@transaction.atomic
def task_finish(
    *,
    caller: Caller,
    job_id: UUID,
    task_id: UUID,
    occurred_at: datetime,
    done: bool = True,
    person_id: UUID | None = None,
    note: str = "",
) -> Task:
    """Finish a task for everybody on it; with done=False only this person's spell ends."""
    job, task = _task_for_change(caller, job_id, task_id)
    running = task.spells.filter(ended_at__isnull=True)
    ending = list(running if done else _running(task, _person(caller, person_id)))
    if not ending:  # work under way can end, and count, though the order was cancelled meanwhile
        check(job, refuse_work(job.state))
    if not ending and not (done and task.state == Task.State.STARTED):
        check(job, Refusal("not_started", "This task is not being worked on.", "Start it first."))
    late = [spell for spell in ending if spell.started_at > occurred_at]
    if late:
        began = localtime(max(spell.started_at for spell in late)).isoformat()
        message = f"The work began at {began}; it cannot end before."
        raise InvalidRequest(message, errors=[{"field": "occurred_at", "message": message}])
    people_lock([spell.person_id for spell in ending])
    running.filter(pk__in=[spell.pk for spell in ending]).update(ended_at=occurred_at)
    minutes_take(job, task, done=done)
    task.note = note or task.note
    if done:
        task.state, task.finished_at = Task.State.FINISHED, occurred_at
        _start_clock(job, task, occurred_at)
    task.save(update_fields=[*MINUTES, "note", "state", "finished_at"])
    minutes_recount_beside([spell.pk for spell in ending])
    _write_down(job, Kind.TASK_FINISHED if done else Kind.TASK_PAUSED, task, caller, occurred_at)
    return task


def _running(task: Task, who: UUID | None) -> QuerySet[Spell]:
    """Return the open spell of a person, or of the one who gave no name."""
    named = Q(person__isnull=True) if who is None else Q(person_id=who)
    return task.spells.filter(named, ended_at__isnull=True)


def _start_clock(job: Job, task: Task, occurred_at: datetime) -> None:
    """Start the clock of what the finished operation left to cure or dry."""
    operation = catalogue_of(job.workshop_id).operations.get(task.operation)
    # One of the workshop's own can be deleted only when no open car needs it; work on a car that
    # was cancelled or collected meanwhile leaves no clock that anybody waits for.
    if operation is not None and (wait := wait_after(job, task, operation)):
        clock_start(job, task, wait, started_at=occurred_at)


def _task_for_change(caller: Caller, job_id: UUID, task_id: UUID) -> tuple[Job, Task]:
    job = job_for_change(caller, job_id)
    task = job.tasks.filter(pk=task_id).first()
    if task is None:
        raise NotFound("This job has no such task.")
    return job, task


def _person(caller: Caller, person_id: UUID | None) -> UUID | None:
    """Return who works: the person named, else the one signed in, else nobody by name."""
    if person_id is None or person_id == caller.person_id:
        return caller.person_id
    if person_of(organisation_id=caller.organisation_id, person_id=person_id) is None:
        message = "Nobody at this workshop has this id."
        raise InvalidRequest(message, errors=[{"field": "person_id", "message": message}])
    return person_id


def _write_down(job: Job, kind: Kind, task: Task, caller: Caller, occurred_at: datetime) -> None:
    data = {"task_id": str(task.pk), "operation": task.operation, "name": task.name}
    entry = advance(job, kind=kind, caller=caller, occurred_at=occurred_at, data=data)
    store(job, [entry])
