"""Steps that the tests of clocks share: cars that cure or dry, and the air around them."""

from datetime import UTC, datetime, timedelta
from typing import Any

from accounts.caller import Caller, Side
from jobs.work.models import WaitClock
from jobs.work.services.air.readings import Measured, readings_take
from tests.api.steps import arrived, detail, done, moved
from tests.scene import Api, Scene

EIGHT = datetime(2027, 3, 1, 8, 0, tzinfo=UTC)


def after(**time: float) -> datetime:
    """Return a moment so long after eight."""
    return EIGHT + timedelta(**time)


def said(moment: datetime) -> str:
    """Return a moment as the API says it."""
    return f"{moment.astimezone(UTC):%Y-%m-%dT%H:%M:%SZ}"


def finished(api: Api, job: Any, operation: str) -> Any:
    """Do one of the job's tasks from start to end, and return the clock that it started, if any."""
    task = task_of(api, job, operation)
    before = {clock["id"] for clock in detail(api, job)["clocks"]}
    for step in ("start", "finish"):
        done(api.post(f"/jobs/{job['id']}/tasks/{task['id']}/{step}"))
    fresh = [clock for clock in detail(api, job)["clocks"] if clock["id"] not in before]
    return fresh[0] if fresh else None


def task_of(api: Api, job: Any, operation: str) -> Any:
    """Return one of the job's tasks."""
    return next(task for task in detail(api, job)["tasks"] if task["operation"] == operation)


def in_curing(scene: Scene, *operations: str, **changes: Any) -> Any:
    """Return a car in curing on which these operations were done now."""
    workshop = scene.workshop_api()
    job = moved(workshop, arrived(scene, operations=list(operations), **changes), "correction")
    for operation in operations:
        finished(workshop, job, operation)
    return moved(workshop, job, "curing")


def measured(
    scene: Scene, *readings: tuple[datetime, float], humidity: float | None = None
) -> None:
    """Take readings of the workshop's air in, as from a script."""
    caller = Caller(scene.workshop.pk, Side.WORKSHOP, frozenset(), "The gauge")
    series = [Measured(at, celsius, humidity) for at, celsius in readings]
    readings_take(caller=caller, measured=series)


def every_half_hour(
    since: datetime, until: datetime, celsius: float
) -> list[tuple[datetime, float]]:
    """Return readings of one temperature, close enough that nothing is left to guess."""
    count = int((until - since) / timedelta(minutes=30))
    return [(since + timedelta(minutes=30 * step), celsius) for step in range(count + 1)]


def ends_of(clock: WaitClock) -> datetime:
    """Return the end of a clock that has one."""
    assert clock.ends_at is not None
    return clock.ends_at


def felt(api: Api, job: Any, clock: Any, *, dry: bool, **more: Any) -> Any:
    """Record a touch test and return the answer."""
    return api.post(f"/jobs/{job['id']}/clocks/{clock['id']}/touch-tests", {"dry": dry, **more})


def move(api: Api, job: Any, to: str, **more: Any) -> Any:
    """Move the car as it stands now and return the answer."""
    version = detail(api, job)["version"]
    return api.post(
        f"/jobs/{job['id']}/moves", {"to": to, "version": version, "confirm": True, **more}
    )
