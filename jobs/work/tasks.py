"""What time does to jobs; every task is safe to run twice, and to run late.

Their names are those that messages carry: they stay, wherever this module lies.
"""

from datetime import timedelta

import structlog
from celery import current_app, shared_task

from accounts.auth import caller_for_person
from accounts.caller import Scope
from core.clock import now
from core.stopping import is_stopping
from core.sweeps import done_up_to, last_done, swept
from jobs.work.intake.orders import import_advance
from jobs.work.selectors.curing.clocks import clocks_due, jobs_to_settle
from jobs.work.selectors.orders import imports_waiting
from jobs.work.selectors.requests.requests import overdue_requests
from jobs.work.services.curing.settling import clocks_settle, clocks_work_out
from jobs.work.services.flow import flow_fill
from jobs.work.services.requests.closing import request_lapse

log = structlog.get_logger(__name__)

AT_ONCE = 500
# All of history is looked through once a day, and what changed since then each time.
LOOKED_THROUGH, WHOLE_EVERY = "fill_flow_whole", timedelta(days=1)
FILLS_A_RUN = 20  # 10,000 cars at most: well within the time that a task may take


@shared_task(name="jobs.tasks.lapse_requests")
@swept("lapse_requests")
def lapse_requests() -> None:
    """Lapse the requests for extra work that nobody answered in time."""
    for request_id in overdue_requests(now(), limit=AT_ONCE):
        request_lapse(request_id=request_id)


@shared_task(name="jobs.tasks.work_out_clocks")
def work_out_clocks() -> None:
    """Work out the clocks of workshops whose air was measured since."""
    for workshop_id in clocks_due(limit=AT_ONCE):
        try:
            clocks_work_out(workshop_id=workshop_id)
        except Exception:  # one workshop that fails must not keep the others from their times
            log.exception("clocks_not_worked_out", workshop_id=str(workshop_id))


@shared_task(name="jobs.tasks.settle_clocks")
@swept("settle_clocks")
def settle_clocks() -> None:
    """Write down which clocks are over; a lost wake-up after readings is made good here as well."""
    work_out_clocks()
    for job_id in jobs_to_settle(now(), limit=AT_ONCE):
        try:
            clocks_settle(job_id=job_id)
        except Exception:  # one car that fails must not keep the others waiting
            log.exception("clocks_not_settled", job_id=str(job_id))


@shared_task(name="jobs.tasks.fill_flow")
@swept("fill_flow")
def fill_flow() -> None:
    """Keep where the time of cars went that were ready before such a thing was kept."""
    at = now()
    looked = last_done(LOOKED_THROUGH)
    whole = looked is None or at - looked > WHOLE_EVERY
    since = None if whole else looked
    for _ in range(FILLS_A_RUN):
        if is_stopping():
            return
        if flow_fill(limit=AT_ONCE, since=since) < AT_ONCE:
            if whole:
                done_up_to(LOOKED_THROUGH, at)
            return


@shared_task(name="jobs.tasks.take_orders")
@swept("take_orders")
def take_orders() -> None:
    """Take in the lists of orders that dealers brought in a file, page open or not."""
    for waiting in imports_waiting(limit=AT_ONCE):
        caller = caller_for_person(waiting.person)
        if not caller.may(Scope.ORDER):
            continue
        try:
            while not is_stopping() and import_advance(caller, waiting.pk).finished_at is None:
                continue
        except Exception:  # one list that fails must not keep the others waiting
            log.exception("orders_not_taken", import_id=str(waiting.pk))


@shared_task(name="jobs.tasks.pull_forecasts")
def pull_forecasts() -> None:
    """Pass on what the beat of an earlier release asks for; the next release drops this."""
    current_app.send_task("core.tasks.fetch_sources", expires=60)
