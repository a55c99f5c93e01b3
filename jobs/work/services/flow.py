"""Where a finished car's time went is kept in the transaction in which it becomes ready."""

from collections.abc import Sequence
from datetime import datetime

from django.db import transaction

from jobs.work.calc.flow.course import CAUSES, STAGES, CarTimes, split
from jobs.work.models import FlowCar, Job
from jobs.work.selectors.flow.times import cars_to_note, cars_to_take_back, times_of

WAITED_FOR = STAGES[1:]  # nobody is waited for to begin with intake
_WRITTEN = [field.name for field in FlowCar._meta.fields if not field.primary_key]  # noqa: SLF001  Django's own way


def flow_note(job: Job) -> None:
    """Keep where the time of a car went that is ready; take it back of one that is not.

    For a job whose row is locked, in the caller's transaction. It may be called again: what it
    wrote before is worked out anew.
    """
    if job.ready_at is None:
        FlowCar.objects.filter(job=job).delete()
        return
    times = times_of([job.pk], until=job.ready_at)
    _write([flow_car(job, times[job.pk])])


@transaction.atomic
def flow_fill(*, limit: int, since: datetime | None = None) -> int:
    """Keep what is missing: of cars ready before there was such a thing, or that slipped through.

    `since`: look only at cars that changed since then; all of history otherwise. At most `limit`
    cars, the latest orders first; return how many were put right. Cars that somebody is changing
    just now are left for another time.
    """
    jobs = list(cars_to_note(since=since).select_for_update(of=("self",), skip_locked=True)[:limit])
    ends = [job.ready_at for job in jobs if job.ready_at is not None]
    if ends:
        times = times_of([job.pk for job in jobs], until=max(ends))
        _write([flow_car(job, times[job.pk]) for job in jobs])
    stale = list(cars_to_take_back(since=since).values_list("pk", flat=True)[:limit])
    if stale:
        cars_to_take_back().filter(pk__in=stale).delete()
    return len(jobs) + len(stale)


def flow_car(job: Job, times: CarTimes) -> FlowCar:
    """Return what is kept of one car, not saved. The job must have arrived and be ready."""
    if job.arrived_at is None or job.ready_at is None:
        raise ValueError("Only a car that came and became ready has such times.")
    found = split(times, arrived_at=job.arrived_at, ready_at=job.ready_at)
    parts = {
        f"{stage}_{cause}": found.parts.get((stage, cause), 0)
        for stage in STAGES
        for cause in CAUSES
    }
    waited = {f"for_{stage}": found.waited_for.get(stage, 0) for stage in WAITED_FOR}
    return FlowCar(
        job=job,
        workshop_id=job.workshop_id,
        dealer_id=job.dealer_id,
        purpose=job.purpose,
        arrived_at=job.arrived_at,
        ready_at=job.ready_at,
        due_at=job.due_at,
        on_time=None if job.due_at is None else job.ready_at <= job.due_at,
        rework_count=job.rework_count,
        lead_seconds=found.lead_seconds,
        person_seconds=found.person_seconds,
        **parts,
        **waited,
    )


def _write(cars: Sequence[FlowCar]) -> None:
    FlowCar.objects.bulk_create(
        cars, update_conflicts=True, unique_fields=["job"], update_fields=_WRITTEN
    )
