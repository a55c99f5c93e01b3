"""What follows when clocks end or the air changes: the history says so, a car may become ready."""

from uuid import UUID

import structlog
from django.db import transaction

from core.clock import now
from jobs.work.calc.stages.machine import Stage, refuse_move
from jobs.work.models import HistoryEntry, Job, Task
from jobs.work.selectors.air import setup_of
from jobs.work.selectors.curing.clocks import job_to_settle, jobs_with_clocks, setup_due_for_change
from jobs.work.services.curing.clocks import Renewed, clocks_close, renew, tell_wait
from jobs.work.services.jobs.moving import move_record
from jobs.work.services.jobs.recording import store, the_service

log = structlog.get_logger(__name__)

DONE = "All that cured or dried on it is done."


@transaction.atomic
def clocks_work_out(*, workshop_id: UUID) -> bool:
    """Work out the clocks of a workshop with its new readings; False where it was done meanwhile.

    Readings that come in now wait for this, so that none is missed; killed, it starts again.
    """
    setup = setup_due_for_change(workshop_id)
    if setup is None:
        return False
    for job_id in jobs_with_clocks(workshop_id, now()):
        try:
            with transaction.atomic():
                _work_out(job_id)
        except Exception:  # one car that fails must not keep the others from their times
            log.exception("clocks_not_worked_out", job_id=str(job_id))
    setup.clocks_due = False
    setup.save(update_fields=["clocks_due"])
    return True


def _work_out(job_id: UUID) -> None:
    job = job_to_settle(job_id)
    told_before = job.waits_told
    entries = tell_wait(job, renew(job))
    if entries or job.waits_told != told_before:
        store(job, entries)


@transaction.atomic
def clocks_settle(*, job_id: UUID) -> bool:
    """Write down that the job's clocks are over; False where one runs after all, or it is done.

    Where the workshop chose so, a car in curing on which nothing is open becomes ready. Safe to
    run twice and at once with a person's move: whoever gets the job's row first decides.
    """
    job = job_to_settle(job_id)
    renewed = renew(job)
    return finish_waits(job, renewed, [*tell_wait(job, renewed)])


def finish_waits(job: Job, renewed: Renewed, entries: list[HistoryEntry]) -> bool:
    """Settle the job's clocks where none runs any more, store the entries, and say whether so."""
    left = [clock for clock in renewed.clocks if clock.settled_at is None]
    cured = clocks_close(job, renewed)
    entries = [*entries, *cured]
    if entries:
        store(job, entries)
    if cured and _becomes_ready(job):
        move_record(job, caller=the_service(job), to=Stage.READY, occurred_at=now(), reason=DONE)
    return any(clock.settled_at is not None for clock in left)


def _becomes_ready(job: Job) -> bool:
    """Return whether the service may make the car ready, by the workshop's choice and the rules."""
    if job.stage != Stage.CURING.value or job.open_holds:
        return False
    if refuse_move(job.state, Stage.READY, reason="", clocks_running=False, override=False):
        return False
    work_left = (Task.State.WANTED, Task.State.STARTED)
    if job.tasks.filter(state__in=work_left).exists():
        return False
    return setup_of(job.workshop_id).ready_by_itself
