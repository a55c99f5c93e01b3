"""Steps of the tests about how long work takes: finished tasks, many at once or by the clock."""

from datetime import datetime, timedelta
from typing import Any

from core.clock import now
from jobs.work.calc.catalogue.operations import OPERATIONS
from jobs.work.models import Job, Spell, Task
from tests.api.steps import arrived, detail, done
from tests.scene import Api, Scene


def finished(
    scene: Scene, count: int, *, code: str = "wash_body", minutes: int = 50, **more: Any
) -> list[Task]:
    """Return finished tasks of one operation, each on a car of its own, put straight in."""
    person = more.pop("person", scene.valeter)
    doubt, told_minutes = more.pop("doubt", ""), more.pop("told_minutes", None)
    at = now()
    jobs = [
        Job(
            dealer=scene.dealer,
            workshop=more.get("workshop", scene.workshop),
            registration="TU21 ABZ",
            registration_key=f"OLD{at.timestamp()}{nth}"[-16:],
            body_size=more.get("body_size", "medium"),
            soiling=more.get("soiling", 2),
            is_open=False,
            received_at=at,
            updated_at=at,
        )
        for nth in range(count)
    ]
    Job.objects.bulk_create(jobs)
    tasks = [_task(job, code, minutes, at, doubt=doubt, told_minutes=told_minutes) for job in jobs]
    Task.objects.bulk_create(tasks)
    Spell.objects.bulk_create(
        Spell(task=task, person=person, started_at=at, ended_at=at) for task in tasks
    )
    return tasks


def _task(job: Job, code: str, minutes: int, at: datetime, **more: Any) -> Task:
    operation = OPERATIONS[code]
    return Task(
        job=job,
        operation=code,
        name=operation.name,
        stage=operation.stage.value,
        state=Task.State.FINISHED,
        planned_minutes=operation.standard_minutes,
        actual_minutes=minutes,
        started_at=at,
        finished_at=at,
        **more,
    )


def worked(api: Api, clock: Any, job: Any, minutes: float, index: int = 0) -> str:
    """Start a task and finish it so many minutes later; return its address."""
    path = f"/jobs/{job['id']}/tasks/{detail(api, job)['tasks'][index]['id']}"
    done(api.post(f"{path}/start"))
    clock.shift(timedelta(minutes=minutes))
    done(api.post(f"{path}/finish"))
    return path


def forgotten(scene: Scene, api: Api, clock: Any, **changes: Any) -> tuple[Any, str]:
    """Bring in a car whose wash was left running over night; return it and the task's address."""
    job = arrived(scene, **changes)
    return job, worked(api, clock, job, 14 * 60)
