"""What time does to jobs; every task is safe to run twice, and to run late."""

from celery import shared_task

from core.clock import now
from core.tasks import note_sweep
from jobs.selectors.requests import overdue_requests
from jobs.services.request_closing import request_lapse

AT_ONCE = 500


@shared_task
def lapse_requests() -> None:
    """Lapse the requests for extra work that nobody answered in time."""
    note_sweep("lapse_requests")
    for request_id in overdue_requests(now(), limit=AT_ONCE):
        request_lapse(request_id=request_id)
