"""Sets a workshop's own term, and keeps or releases a car that is in dispute."""

import structlog
from django.conf import settings
from django.db import transaction

from accounts.models import Organisation
from core.clock import now
from core.problems import Conflict, InvalidRequest
from jobs.retention.models import KeptCar, Term
from jobs.retention.terms import KINDS, DataKind
from jobs.work.models import Job

log = structlog.get_logger(__name__)


@transaction.atomic
def term_set(*, workshop: Organisation, kind: DataKind, days: int | None) -> int:
    """Set for how many days a workshop's data of a kind are kept; None: as for all.

    Return the days that hold from now on. Raises InvalidRequest for what cannot differ by workshop
    and for too few days.
    """
    if not KINDS[kind].by_workshop:
        own = ", ".join(each.value for each, about in KINDS.items() if about.by_workshop)
        raise InvalidRequest(
            f"There is one term for {kind} of all workshops. A workshop may have its own for {own}."
        )
    if days is None:
        Term.objects.filter(workshop=workshop, kind=kind).delete()
        days = settings.KEEP_DAYS[kind]
    else:
        _refuse_too_few(kind, days)
        Term.objects.update_or_create(workshop=workshop, kind=kind, defaults={"days": days})
    log.info("retention_term_set", workshop_id=str(workshop.pk), kind=kind.value, days=days)
    return days


def _refuse_too_few(kind: DataKind, days: int) -> None:
    least, notices = KINDS[kind].least_days, settings.KEEP_DAYS[DataKind.NOTICES]
    if days < least:
        raise InvalidRequest(f"{days} days are too few for {kind}; give {least} or more.")
    if kind is DataKind.PERSONAL and days < notices:
        raise InvalidRequest(
            f"Notices tell of a car, and all of them are kept for {notices} days. "
            f"Give {notices} or more, or shorten `notices` in SHUTLINE_KEEP_DAYS first."
        )


@transaction.atomic
def car_keep(*, job: Job, reason: str) -> KeptCar:
    """Keep all of a car until somebody releases it. Raises Conflict where it is kept already."""
    if not reason.strip():
        raise InvalidRequest("Say why the car is kept, without a name.")
    Job.objects.select_for_update(no_key=True).get(pk=job.pk)
    if KeptCar.objects.filter(job=job, ended_at=None).exists():
        raise Conflict("This car is kept already.")
    kept = KeptCar.objects.create(job=job, reason=reason.strip()[:200], since=now())
    log.info("retention_car_kept", job_id=str(job.pk))
    return kept


def car_release(*, job: Job) -> None:
    """Let the terms of a car hold again. Raises Conflict where it is not kept."""
    if not KeptCar.objects.filter(job=job, ended_at=None).update(ended_at=now()):
        raise Conflict("This car is not kept.")
    log.info("retention_car_released", job_id=str(job.pk))
