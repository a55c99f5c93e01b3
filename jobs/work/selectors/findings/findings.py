"""Findings as a caller may see them: those of its own jobs, belongings included."""

from uuid import UUID

from django.db.models import Prefetch, QuerySet

from accounts.caller import Caller
from core.problems import NotFound
from jobs.work.models import Finding, Photo
from jobs.work.selectors.jobs.jobs import jobs_of, no_such_job


def findings_of(caller: Caller, job_id: UUID) -> QuerySet[Finding]:
    """Return the findings of one of the caller's jobs, oldest first. Raises NotFound."""
    if not jobs_of(caller).filter(pk=job_id).exists():
        raise no_such_job()
    return _whole(Finding.objects.filter(job_id=job_id)).order_by("pk")


def finding_of(caller: Caller, finding_id: UUID) -> Finding:
    """Return one finding on one of the caller's jobs. Raises NotFound."""
    mine = Finding.objects.filter(job__in=jobs_of(caller), pk=finding_id)
    finding = _whole(mine).first()
    if finding is None:
        raise no_such_finding()
    return finding


def no_such_finding() -> NotFound:
    """Return the problem for a finding that is missing or somebody else's: the same for both."""
    return NotFound("There is no such finding, or it is not yours.")


def _whole(findings: QuerySet[Finding]) -> QuerySet[Finding]:
    photos = Photo.objects.prefetch_related("renditions").order_by("pk")
    return findings.select_related("belonging", "hold").prefetch_related(Prefetch("photos", photos))
