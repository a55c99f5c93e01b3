"""Where a car is on its way, in words and as steps, for every page that shows it."""

from jobs.work.calc.stages.machine import Decision, Stage
from jobs.work.models import Job


def standing(job: Job) -> str:
    """Return in words where the car is on its way."""
    if job.collected_at is not None:
        return "collected"
    if job.cancelled_at is not None:
        return "cancelled by the dealer"
    if job.decision == Decision.DECLINED:
        return "declined"
    if job.decision == Decision.AWAITED:
        return "not accepted yet"
    return f"in {job.stage}" if job.arrived_at is not None else "not here yet"


def stages_of(job: Job) -> list[tuple[str, str]]:
    """Return each stage with where the car is to it: done, here, or nothing yet."""
    order = list(Stage)
    if job.arrived_at is None:
        return [(stage.value, "") for stage in order]
    place = order.index(Stage(job.stage))
    return [
        (stage.value, "done" if number < place else "here" if number == place else "")
        for number, stage in enumerate(order)
    ]
