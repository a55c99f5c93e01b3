"""Keeps a job's tasks in step with the operations that are wanted."""

from collections.abc import Sequence

from core.problems import FieldError
from jobs.work.calc.catalogue.operations import Operation
from jobs.work.calc.catalogue.workshop import Catalogue
from jobs.work.models import Job, Task


def tasks_for(job: Job, operations: Sequence[Operation]) -> list[Task]:
    """Return unsaved tasks, one for each operation."""
    return [
        Task(
            job=job,
            operation=operation.code,
            name=operation.name,
            stage=operation.stage.value,
            planned_minutes=operation.standard_minutes,
        )
        for operation in operations
    ]


def tasks_fit(job: Job, ordered_before: Sequence[str], catalogue: Catalogue) -> list[FieldError]:
    """Add tasks for operations newly ordered; drop those no longer ordered and not begun.

    Work that the workshop added was never part of the order, so a change of it leaves it alone.
    Returns a remark for each task that was begun and therefore stays.
    """
    wanted = {operation.code for operation in catalogue.expand(job.operations)}
    # A code may have left the catalogue since: then its task stays, which is the safe side.
    withdrawn = {operation.code for operation in catalogue.expand(ordered_before)} - wanted
    tasks = list(job.tasks.exclude(state=Task.State.DROPPED).order_by("pk"))
    present = {task.operation for task in tasks}
    surplus = [task for task in tasks if task.operation in withdrawn]
    begun = [task for task in surplus if task.state != Task.State.WANTED]
    job.tasks.filter(pk__in=[task.pk for task in surplus], state=Task.State.WANTED).update(
        state=Task.State.DROPPED
    )
    # What was ordered before brings nothing more: its contents may have changed since.
    fresh = [code for code in job.operations if code not in set(ordered_before)]
    missing = [
        operation for operation in catalogue.orderable(fresh) if operation.code not in present
    ]
    Task.objects.bulk_create(tasks_for(job, missing))
    return [
        {"field": "operations", "message": f"{task.name} was begun already, so it stays."}
        for task in begun
    ]
