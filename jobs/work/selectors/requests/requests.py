"""Requests for extra work as callers may see them, and the dealer's changes still to be seen."""

from datetime import datetime
from uuid import UUID

from django.db.models import Prefetch, QuerySet

from accounts.caller import Caller
from core.problems import NotFound
from jobs.work.models import Job, Photo, RequestMessage, ScopeChange, WorkRequest
from jobs.work.selectors.jobs.jobs import jobs_of, no_such_job

OPEN = WorkRequest.State.OPEN


def with_parts(requests: QuerySet[WorkRequest]) -> QuerySet[WorkRequest]:
    """Prefetch the pictures and messages of requests, each in the order they were made."""
    return requests.prefetch_related(
        Prefetch("photos", Photo.objects.order_by("pk").prefetch_related("renditions")),
        Prefetch("messages", RequestMessage.objects.order_by("pk")),
    )


def requests_of(caller: Caller, job_id: UUID) -> QuerySet[WorkRequest]:
    """Return the requests about one of the caller's jobs, oldest first. Raises NotFound."""
    if not jobs_of(caller).filter(pk=job_id).exists():
        raise no_such_job()
    return with_parts(WorkRequest.objects.filter(job_id=job_id).order_by("pk"))


def request_of(caller: Caller, request_id: UUID) -> WorkRequest:
    """Return one request about one of the caller's jobs. Raises NotFound."""
    mine = WorkRequest.objects.filter(pk=request_id, job__in=jobs_of(caller))
    request = with_parts(mine).first()
    if request is None:
        raise no_such_request()
    return request


def request_for_change(caller: Caller, request_id: UUID) -> tuple[Job, WorkRequest]:
    """Return the job of one of the caller's requests, with its row locked, and the request.

    Whatever changes a request holds the row of its job. Raises NotFound.
    """
    job = jobs_of(caller).select_for_update(of=("self",)).filter(requests__pk=request_id).first()
    if job is None:
        raise no_such_request()
    # Read only now: it may have changed while we waited for the lock.
    return job, WorkRequest.objects.select_related("hold").get(pk=request_id)


def overdue_for_change(request_id: UUID, at: datetime) -> tuple[Job, WorkRequest] | None:
    """Return a request whose time is up, and its job locked; None where it is open no more."""
    job = Job.objects.select_for_update(of=("self",)).get(requests__pk=request_id)
    overdue = WorkRequest.objects.select_related("hold").filter(pk=request_id, state=OPEN)
    request = overdue.filter(answer_by__lte=at).first()
    return (job, request) if request else None


def open_requests(job: Job) -> QuerySet[WorkRequest]:
    """Return the job's requests that wait for an answer, oldest first."""
    waiting = WorkRequest.objects.select_related("hold").filter(job=job, state=OPEN)
    return waiting.order_by("pk")


def overdue_requests(at: datetime, *, limit: int) -> list[UUID]:
    """Return the ids of requests whose time is up: one look into a partial index."""
    overdue = WorkRequest.objects.filter(state=OPEN, answer_by__lte=at).order_by("answer_by")
    return list(overdue.values_list("pk", flat=True)[:limit])


def no_such_request() -> NotFound:
    """Return the problem for a request that is missing or somebody else's: the same for both."""
    return NotFound("There is no such request, or it is not yours.")


def change_for_change(job: Job, number: int) -> ScopeChange:
    """Return a dealer's change of a locked job by its number in the history. Raises NotFound."""
    change = ScopeChange.objects.select_related("entry").filter(job=job, entry__number=number)
    if (found := change.first()) is None:
        raise NotFound(
            "This job has no change of this number to be seen.",
            next_step="Look at changes_to_see of the job.",
        )
    return found
