"""How a request for extra work ends: answered, lapsed, withdrawn; and what an approval brings.

What takes a job here runs in its caller's transaction, with the job's row locked.
"""

from datetime import datetime
from decimal import Decimal
from typing import Any
from uuid import UUID

from django.db import transaction

from accounts.caller import Caller
from core.clock import now
from jobs.work import events
from jobs.work.calc.stages.machine import Kind
from jobs.work.calc.tasks.sharing import share_minutes
from jobs.work.models import Job, Task, WorkRequest
from jobs.work.selectors.catalogue import catalogue_of
from jobs.work.selectors.requests.requests import open_requests, overdue_for_change
from jobs.work.services.holds import hold_close
from jobs.work.services.jobs.recording import advance, event_tell, store, tell_changed, the_service
from jobs.work.services.tasks.scope import tasks_for

MOST_AMOUNT = Decimal("99999999.99")  # what the column of the cap holds
NO_ANSWER = "No answer came by the time it was wanted."
Change = dict[str, Any]


def close(
    job: Job,
    request: WorkRequest,
    *,
    state: WorkRequest.State,
    caller: Caller,
    occurred_at: datetime,
    note: str = "",
    way: str = "",
) -> datetime:
    """Close an open request, end its hold if that is still on, and return when it was closed.

    That is never before it was opened: the clocks of two devices differ. The event is the
    caller's to tell.
    """
    moment = max(occurred_at, request.opened_at)
    request.state, request.closed_at, request.closed_by = state, moment, caller.name
    request.closed_way, request.closed_note = way, note
    request.save(update_fields=["state", "closed_at", "closed_by", "closed_way", "closed_note"])
    data = {"request_id": str(request.pk), "outcome": state.value, "way": way}
    entry = advance(
        job, kind=Kind.REQUEST_CLOSED, caller=caller, occurred_at=moment, reason=note, data=data
    )
    store(job, [entry])
    hold = request.hold
    if hold is not None and hold.ended_at is None:
        reason = f"The request was {state.value}."
        hold_close(
            job, hold, caller=caller, occurred_at=max(moment, hold.started_at), reason=reason
        )
    return moment


def lapse(job: Job, request: WorkRequest, *, reason: str = NO_ANSWER) -> None:
    """Close a request that nobody answered in time, in the name of the service."""
    moment = close(
        job,
        request,
        state=WorkRequest.State.LAPSED,
        caller=the_service(job),
        occurred_at=now(),
        note=reason,
    )
    data = {"job": events.job_data(job), **events.what_of(request), "reason": reason}
    event_tell(events.REQUEST_LAPSED, job, moment, data)


def open_requests_lapse(job: Job, *, reason: str) -> None:
    """Lapse what still waits for an answer where the job ends: nothing can come of it now."""
    for request in open_requests(job):
        lapse(job, request, reason=reason)


@transaction.atomic
def request_lapse(*, request_id: UUID) -> bool:
    """Lapse one request whose time is up; False where it was closed or given more time.

    Safe to run twice and at once with an answer: whoever gets the job's row first decides.
    """
    found = overdue_for_change(request_id, now())
    if found is None:
        return False
    lapse(*found)
    return True


def approve(job: Job, request: WorkRequest, *, caller: Caller, occurred_at: datetime) -> list[Task]:
    """Make the approved operations tasks and raise the cap by what was agreed; return the tasks.

    The agreed minutes are shared out among the operations in proportion to their standard
    minutes. The dealer's approval is no change that the valeter has to see.
    """
    # What was hidden since is done all the same: it was proposed, and now it is agreed.
    wanted = catalogue_of(job.workshop_id).expand(request.operations)
    tasks = tasks_for(job, wanted)
    minutes = share_minutes(request.minutes, [operation.standard_minutes for operation in wanted])
    for task, planned in zip(tasks, minutes, strict=True):
        task.planned_minutes, task.note = planned, request.what
    Task.objects.bulk_create(tasks)
    about = {"request_id": str(request.pk)}
    entries = [
        advance(
            job,
            kind=Kind.TASK_ADDED,
            caller=caller,
            occurred_at=occurred_at,
            data={"task_id": str(task.pk), "operation": task.operation, "name": task.name, **about},
        )
        for task in tasks
    ]
    changes = _raise_cap(job, request)
    if changes:
        entries.append(
            advance(
                job,
                kind=Kind.CHANGED,
                caller=caller,
                occurred_at=occurred_at,
                data={"changes": changes, **about},
            )
        )
    store(job, entries)
    if changes:
        tell_changed(job, occurred_at, changes)
    return tasks


def _raise_cap(job: Job, request: WorkRequest) -> list[Change]:
    """Raise the cap, whichever the job has, and return what changed; amounts as strings."""
    if job.cap_minutes is not None:
        was = job.cap_minutes
        job.cap_minutes = was + request.minutes
        return [{"field": "cap_minutes", "was": was, "now": job.cap_minutes}]
    same_money = request.currency == job.cap_currency
    if job.cap_amount is None or not request.price or not same_money:
        return []
    before = job.cap_amount
    job.cap_amount = min(before + request.price, MOST_AMOUNT)
    return [{"field": "cap_amount", "was": str(before), "now": str(job.cap_amount)}]
