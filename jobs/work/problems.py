"""The ways an action on a job can fail to fit; each answer shows where the job stands."""

from collections.abc import Sequence
from datetime import datetime
from typing import Any

from django.utils.timezone import localtime

from core.problems import Conflict
from jobs.work.calc.stages.left_open import LeftOpen
from jobs.work.calc.stages.machine import CLOCK_RUNNING, Refusal, moves_from
from jobs.work.events import job_data
from jobs.work.models import Job, WaitClock, WorkRequest

_DOES = {
    WaitClock.Kind.CURE: "still cures",
    WaitClock.Kind.DRYING: "still dries",
    WaitClock.Kind.FLASH_OFF: "still flashes off",
}


class StaleVersion(Conflict):
    """The caller acted on a version that is no longer the present one."""

    slug, title = "stale-version", "Somebody changed this job meanwhile"
    next_step = "Look at the current state in this answer, then send again with its version."


class Refused(Conflict):
    """The stage machine does not allow it; `code` says why."""

    slug, title = "refused", "Not possible now"


class ConfirmationNeeded(Conflict):
    """Something of the job is still open; whoever sends it again with `confirm` means it so."""

    slug, title = "confirmation-needed", "Something is still open"
    next_step = (
        "Look at what is open, then send it again with `confirm`: true to do it all the same."
    )


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


def to_confirm(job: Job, left: LeftOpen) -> ConfirmationNeeded:
    """Return the problem for what somebody has to confirm, with all that is open."""
    lines = left.lines()
    return ConfirmationNeeded(
        " ".join(line["text"] for line in lines),
        extra={
            "open": lines,
            "tasks_open": left.tasks_open,
            "tasks": left.tasks,
            **standing(job),
        },
    )


def still_waiting(job: Job, running: Sequence[WaitClock], *, at: datetime) -> Refused:
    """Return the problem for a move that clocks stand in the way of, their tasks read with them.

    It says when the last is done, where a time says so, and what somebody has to feel.
    """
    to_come = [clock for clock in running if not clock.has_ended(at)]
    halted = [clock for clock in to_come if clock.ends_at is None]
    to_feel = [clock for clock in running if clock.touch_test and clock.closed_at is None]
    # Felt since counts too: at the time of the move nobody had.
    overdue = [clock.task.name for clock in running if clock.has_ended(at)]
    last = max(to_come, key=lambda clock: clock.ends_at or at, default=None)
    said = [_waits_for(clock) for clock in halted or ([last] if last else [])]
    if overdue:
        said.append(f"Nobody has felt yet whether it is dry: {', '.join(overdue)}.")
    steps = ["Wait until then"] if last else []
    if halted:
        steps = ["Let the air get warmer, or drier where it dries"]
    if to_feel:
        steps.append("feel whether it is dry and record the touch test")
    if not steps:
        steps.append("send a time after it was felt")
    steps.append("or let a manager override with a reason.")
    todo = ", ".join(steps)
    problem = refused(job, Refusal(CLOCK_RUNNING, " ".join(said), todo[:1].upper() + todo[1:]))
    problem.extra["until"] = last.ends_at if last and not halted else None
    problem.extra["earliest"] = max(
        (until for clock in to_come if (until := clock.earliest_at or clock.ends_at)), default=None
    )
    problem.extra["touch_tests"] = [clock.task.name for clock in to_feel]
    return problem


def _waits_for(clock: WaitClock) -> str:
    does = _DOES[WaitClock.Kind(clock.kind)]
    if clock.ends_at is None:
        return f"{clock.task.name}: {does}. It {clock.halted_words}; nobody can say until when."
    until = localtime(clock.ends_at).isoformat(timespec="minutes")
    return f"{clock.task.name}: {does}, until {until} at the latest."


class RequestClosed(Conflict):
    """A request that was answered, lapsed or was withdrawn takes no further word."""

    slug, title = "request-closed", "This request is closed"
    next_step = "Look at what stands; the workshop may open another request."


class LinkUsed(Conflict):
    """A link answers once; this one did, or a newer one took its place."""

    slug, title = "link-used", "This link was used already"
    next_step = "Use the link in the newest e-mail, or answer in your own system."


def request_closed(request: WorkRequest) -> RequestClosed:
    """Return the problem for a request that is closed, with how and when and by whom."""
    return RequestClosed(
        f"This request is {request.state}: {closing_words(request)}",
        extra={"code": request.state, "current": request_standing(request)},
    )


def closing_words(request: WorkRequest) -> str:
    """Return who closed a request, and what was said."""
    by = f"by {request.closed_by}" if request.closed_by else "by itself"
    return f"{by}. {request.closed_note}".strip()


def request_standing(request: WorkRequest) -> dict[str, Any]:
    """Return where a request stands, for the answer to whoever comes too late."""
    return {
        "id": request.pk,
        "job_id": request.job_id,
        "state": request.state,
        "round": request.round,
        "answer_by": request.answer_by,
        "closed_at": request.closed_at,
        "closed_by": request.closed_by,
        "way": request.closed_way,
        "note": request.closed_note,
    }
