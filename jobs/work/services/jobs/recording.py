"""The one way a job changes: a step of the stage machine, its history entry, the stored state.

The stored state is what `stages.apply` makes of the entry, so replaying the history always leads
to it.
"""

from collections.abc import Mapping, Sequence
from datetime import datetime
from typing import Any
from uuid import UUID

from accounts.caller import Caller, Side
from accounts.services import ready_version_raise
from core.clock import now
from jobs.work import events
from jobs.work.calc.stages.machine import Kind, Refusal, Stage, Step, apply
from jobs.work.models import HistoryEntry, Job
from jobs.work.models.jobs.history import without_amounts
from jobs.work.problems import refused, stale
from notifications.catalogue import EventType
from notifications.letter import Letter
from notifications.services.outbox import event_append

_FACTS = {
    Kind.ARRIVED: "arrived_at",
    Kind.COLLECTED: "collected_at",
    Kind.CANCELLED: "cancelled_at",
}


def check_version(job: Job, made_against: int | None) -> None:
    """Raise StaleVersion where the caller had seen another version."""
    if made_against is not None and made_against != job.version:
        raise stale(job, made_against=made_against)


def check(job: Job, refusal: Refusal | None) -> None:
    """Raise Refused where the stage machine said no."""
    if refusal is not None:
        raise refused(job, refusal)


def the_service(job: Job) -> Caller:
    """Return the caller in whose name time and the air do something: nobody of either side."""
    return Caller(
        organisation_id=job.workshop_id,
        side=Side.WORKSHOP,
        scopes=frozenset(),
        name="The service",
    )


def advance(
    job: Job,
    *,
    kind: Kind,
    caller: Caller,
    occurred_at: datetime,
    to: Stage | None = None,
    reason: str = "",
    made_against: int | None = None,
    data: Mapping[str, Any] | None = None,
) -> HistoryEntry:
    """Take the job one step on, in memory, and return the unsaved history entry for it."""
    before, data = job.state, dict(data or {})
    undoes = Kind(data["undoes"]) if kind is Kind.CORRECTED else None
    after = apply(before, Step(kind, to, undoes))
    job.stage, job.decision = after.stage.value, after.decision.value
    job.open_holds, job.rework_count, job.version = after.holds, after.rework, after.version
    job.is_open = after.open
    job.history_count += 1
    if fact := _FACTS.get(undoes or kind):
        setattr(job, fact, None if undoes else occurred_at)
    if kind is Kind.MOVED:
        job.ready_at = occurred_at if after.stage is Stage.READY else None
    return HistoryEntry(
        job=job,
        number=job.history_count,
        kind=kind.value,
        version=after.version,
        made_against=made_against,
        from_stage=before.stage.value if to else "",
        to_stage=to.value if to else "",
        reason=reason,
        occurred_at=occurred_at,
        recorded_at=now(),
        actor=caller.name,
        actor_person_id=caller.person_id,
        actor_key=caller.key_prefix,
        data=data,
    )


def store(job: Job, entries: Sequence[HistoryEntry], *, fresh: bool = False) -> None:
    """Save the job and its new history entries; keep the dealer's list of ready cars in step."""
    if not fresh:
        _keep_ready_list(job)
    job.updated_at = now()
    job.save(force_insert=fresh, force_update=not fresh)
    HistoryEntry.objects.bulk_create(entries)


def _keep_ready_list(job: Job) -> None:
    """Count a change to the dealer's ready cars wherever this job is, was or becomes one."""
    was = job.ready_number is not None
    is_ready = (
        job.stage == Stage.READY.value and job.collected_at is None and job.cancelled_at is None
    )
    if not (was or is_ready):
        return
    version = ready_version_raise(dealer_id=job.dealer_id)
    if not is_ready:
        job.ready_number = None
    elif not was:
        job.ready_number = version


def tell_changed(job: Job, occurred_at: datetime, changes: Sequence[Mapping[str, Any]]) -> None:
    """Tell of changes of the work order; amounts are named in the event, never shown."""
    data = {"job": events.job_data(job), "changes": without_amounts(changes)}
    event_tell(events.WORK_ORDER_CHANGED, job, occurred_at, data)


def event_tell(
    kind: EventType,
    job: Job,
    occurred_at: datetime,
    data: Mapping[str, Any],
    *,
    subject_id: UUID | None = None,
    urgent: bool = False,
    also_to: Sequence[str] = (),
    letter: Letter | None = None,
    also_types: Sequence[str] = (),
) -> None:
    """Append an event about the job for its dealer and its workshop.

    Notices about one subject keep their order, and the subject is the job; one that must not
    wait for the job's earlier notices gets a subject of its own. The rest: see `event_append`.
    """
    event_append(
        type=kind.name,
        subject_id=subject_id or job.pk,
        dealer_id=job.dealer_id,
        workshop_id=job.workshop_id,
        occurred_at=occurred_at,
        data=data,
        urgent=urgent,
        also_to=also_to,
        letter=letter,
        also_types=also_types,
    )
