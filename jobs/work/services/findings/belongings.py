"""Belongings and personal data found in a car: signed back, wiped."""

from datetime import datetime
from uuid import UUID

from django.db import transaction

from accounts.caller import Caller
from core.clock import now
from core.problems import InvalidRequest, NotFound
from jobs.work import events
from jobs.work.calc.stages.machine import Kind, Refusal
from jobs.work.models import Belonging, Job
from jobs.work.selectors.jobs.jobs import job_for_change
from jobs.work.services.jobs.recording import advance, check, event_tell, store
from notifications.catalogue import EventType


@transaction.atomic
def belonging_return(
    *,
    caller: Caller,
    job_id: UUID,
    belonging_id: UUID,
    returned_to: str,
    occurred_at: datetime | None,
) -> Belonging:
    """Record who signed for a thing; also after the car has gone without it.

    Raises Refused where it is data, or was handed back before.
    """
    job = job_for_change(caller, job_id)
    belonging = _of(job, belonging_id)
    if not belonging.is_thing:
        check(job, Refusal("no_thing", "Data cannot be handed back.", "Say whether it is wiped."))
    if belonging.returned_at is not None:
        refusal = Refusal(
            "returned",
            f"It was handed back at {belonging.returned_at.isoformat()}.",
            "GET the job's findings to see who signed for it.",
        )
        check(job, refusal)
    moment = _moment(belonging, occurred_at)
    belonging.returned_at = moment
    belonging.returned_to = returned_to
    belonging.returned_by = caller.name
    belonging.save(update_fields=["returned_at", "returned_to", "returned_by"])
    _record(
        belonging,
        job=job,
        caller=caller,
        kind=Kind.BELONGING_BACK,
        event=events.BELONGING_RETURNED,
        moment=moment,
    )
    return belonging


@transaction.atomic
def belonging_wipe(
    *,
    caller: Caller,
    job_id: UUID,
    belonging_id: UUID,
    wiped: bool,
    occurred_at: datetime | None,
) -> Belonging:
    """Record that personal data was wiped, or left as it is; saying the same again adds nothing.

    Raises Refused where it is a thing.
    """
    job = job_for_change(caller, job_id)
    belonging = _of(job, belonging_id)
    if belonging.is_thing:
        refusal = Refusal("no_data", "Only data can be wiped.", "Have the thing signed back.")
        check(job, refusal)
    if belonging.wiped is wiped:
        return belonging
    moment = _moment(belonging, occurred_at)
    belonging.wiped, belonging.wiped_at = wiped, moment
    belonging.save(update_fields=["wiped", "wiped_at"])
    _record(
        belonging,
        job=job,
        caller=caller,
        kind=Kind.DATA_WIPED,
        event=events.BELONGING_WIPED,
        moment=moment,
        wiped=wiped,
    )
    return belonging


def _of(job: Job, belonging_id: UUID) -> Belonging:
    mine = Belonging.objects.filter(finding__job=job, pk=belonging_id)
    belonging = mine.select_related("finding").first()
    if belonging is None:
        raise NotFound("This job has no such belonging.")
    return belonging


def _moment(belonging: Belonging, occurred_at: datetime | None) -> datetime:
    """Return when it was done: not before it was found. A tablet's clock may be a little ahead."""
    found_at = belonging.finding.occurred_at
    moment = occurred_at or max(now(), found_at)
    if moment < found_at:
        message = f"It was found at {found_at.isoformat()}, not before."
        raise InvalidRequest(message, errors=[{"field": "occurred_at", "message": message}])
    return moment


def _record(
    belonging: Belonging,
    *,
    job: Job,
    caller: Caller,
    kind: Kind,
    event: EventType,
    moment: datetime,
    **more: bool,
) -> None:
    """Write it down and tell it, without a word of what it is or who signed."""
    data = {
        "belonging_id": str(belonging.pk),
        "finding_id": str(belonging.finding_id),
        **more,
    }
    entry = advance(job, kind=kind, caller=caller, occurred_at=moment, data=data)
    store(job, [entry])
    event_tell(event, job, moment, {"job": events.job_data(job), **data})
