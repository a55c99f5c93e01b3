"""A dealer's change of the order while the car is here: seen by the workshop."""

from datetime import datetime
from uuid import UUID

from django.db import transaction

from accounts.caller import Caller
from jobs.work import events
from jobs.work.calc.stages.machine import Kind
from jobs.work.models import ScopeChange
from jobs.work.selectors.jobs.jobs import job_for_change
from jobs.work.selectors.requests.requests import change_for_change
from jobs.work.services.jobs.recording import advance, event_tell, store


@transaction.atomic
def change_see(*, caller: Caller, job_id: UUID, number: int, occurred_at: datetime) -> ScopeChange:
    """Record who of the workshop saw a change first; seen again, nothing changes."""
    job = job_for_change(caller, job_id)
    change = change_for_change(job, number)
    if change.seen_at is not None:
        return change
    moment = max(occurred_at, change.entry.occurred_at)
    change.seen_at, change.seen_by = moment, caller.name
    change.save(update_fields=["seen_at", "seen_by"])
    data = {"number": number}
    entry = advance(job, kind=Kind.CHANGE_SEEN, caller=caller, occurred_at=moment, data=data)
    store(job, [entry])
    notice = {"job": events.job_data(job), "number": number, "by": caller.name}
    event_tell(events.WORK_ORDER_CHANGE_SEEN, job, moment, notice)
    return change
