"""The ways an action on a job can fail to fit; each answer shows where the job stands."""

from typing import Any

from core.problems import Conflict
from jobs.calc.stages import Refusal, moves_from
from jobs.events import job_data
from jobs.models import Job


class StaleVersion(Conflict):
    """The caller acted on a version that is no longer the present one."""

    slug, title = "stale-version", "Somebody changed this job meanwhile"
    next_step = "Look at the current state in this answer, then send again with its version."


class Refused(Conflict):
    """The stage machine does not allow it; `code` says why."""

    slug, title = "refused", "Not possible now"


class DuplicateOrder(Conflict):
    """There is an open work order for the same vehicle or the same dealer_ref."""

    slug, title = "duplicate-work-order", "There is an open work order for this already"
    next_step = "Change the existing work order, or cancel it before posting another."


def standing(job: Job) -> dict[str, Any]:
    """Return what an answer shows of the present state: the job and the moves allowed."""
    moves = [{"to": move.to, "rework": move.back} for move in moves_from(job.state)]
    return {"current": job_data(job), "allowed_moves": moves}


def stale(job: Job, *, made_against: int) -> StaleVersion:
    """Return the problem for a version that is not the present one."""
    return StaleVersion(
        f"This was made against version {made_against}; the job is at version {job.version}.",
        extra=standing(job),
    )


def refused(job: Job, refusal: Refusal) -> Refused:
    """Return the problem for what the stage machine refused."""
    return Refused(
        refusal.detail,
        next_step=refusal.next_step,
        extra={"code": refusal.code, **standing(job)},
    )
