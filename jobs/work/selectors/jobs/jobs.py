"""Jobs as a caller may see them."""

from typing import Any
from uuid import UUID

from django.db.models import Prefetch, QuerySet

from accounts.caller import Caller, Side
from accounts.models import Organisation
from core.problems import NotFound
from jobs.work.models import HistoryEntry, Hold, Job, ScopeChange, Task, WaitClock

READY_FIELDS = (
    "id",
    "workshop_id",
    "dealer_ref",
    "registration",
    "vin",
    "make",
    "model",
    "colour",
    "purpose",
    "due_at",
    "arrived_at",
    "ready_at",
    "rework_count",
    "do_not_drive",
    "version",
    "ready_number",
)
READY_PAGE = 200


def jobs_of(caller: Caller) -> QuerySet[Job]:
    """Return the caller's own jobs: a dealer's cars, or the cars sent to a workshop."""
    if caller.side is Side.DEALER:
        return Job.objects.filter(dealer_id=caller.organisation_id)
    return Job.objects.filter(workshop_id=caller.organisation_id)


def job_of(caller: Caller, job_id: UUID) -> Job:
    """Return one of the caller's jobs with its tasks, holds, clocks and changes. Raises NotFound.

    They come in the order they were made; PostgreSQL would put a changed row last.
    """
    parts = (
        Prefetch("tasks", Task.objects.order_by("pk")),
        Prefetch("holds", Hold.objects.order_by("pk")),
        Prefetch("clocks", WaitClock.objects.select_related("task", "use").order_by("pk")),
        Prefetch("scope_changes", ScopeChange.objects.select_related("entry").order_by("pk")),
    )
    job = jobs_of(caller).filter(pk=job_id).prefetch_related(*parts).first()
    if job is None:
        raise no_such_job()
    return job


def job_named(caller: Caller, job_id: UUID) -> Job:
    """Return one of the caller's jobs as it stands, alone. Raises NotFound."""
    job = jobs_of(caller).filter(pk=job_id).first()
    if job is None:
        raise no_such_job()
    return job


def job_for_change(caller: Caller, job_id: UUID) -> Job:
    """Return one of the caller's jobs with its row locked for this transaction."""
    job = jobs_of(caller).select_for_update(of=("self",)).filter(pk=job_id).first()
    if job is None:
        raise no_such_job()
    return job


def no_such_job() -> NotFound:
    """Return the problem for a job that is missing or somebody else's: the same for both."""
    return NotFound("There is no such job, or it is not yours.")


def history_of(caller: Caller, job_id: UUID) -> QuerySet[HistoryEntry]:
    """Return the history of one of the caller's jobs, oldest first. Raises NotFound."""
    if not jobs_of(caller).filter(pk=job_id).exists():
        raise no_such_job()
    return HistoryEntry.objects.filter(job_id=job_id).order_by("number")


def open_twin(job: Job) -> Job | None:
    """Return the dealer's other open job for the same reference or the same vehicle."""
    same = Job.objects.none()
    for name in ("dealer_ref", "registration_key", "vin"):
        if value := getattr(job, name):
            same |= Job.objects.filter(**{name: value})
    return same.filter(dealer_id=job.dealer_id, is_open=True).exclude(pk=job.pk).first()


def ready_cars(*, dealer_id: UUID, after: int | None, limit: int) -> list[dict[str, Any]]:
    """Return the dealer's ready cars: one indexed query.

    Newest first; with `after` (a ready_number) only those that became ready later, oldest
    first, so that paging onwards leaves none out.
    """
    cars = Job.objects.filter(dealer_id=dealer_id, ready_number__isnull=False)
    if after is None:
        cars = cars.order_by("-ready_number")
    else:
        cars = cars.filter(ready_number__gt=after).order_by("ready_number")
    rows: list[dict[str, Any]] = list(cars.values(*READY_FIELDS, "open_holds")[:limit])
    for row in rows:  # for the database to say it, the ORM would build an expression for each poll
        row["on_hold"] = row.pop("open_holds") > 0
    return rows


def registration_matches(jobs: QuerySet[Job], text: str) -> QuerySet[Job]:
    """Narrow to the vehicles with this mark, however it is typed."""
    key = "".join(letter for letter in text.upper() if letter.isascii() and letter.isalnum())
    return jobs.filter(registration_key=key) if key else jobs.none()


def dealers_of(caller: Caller) -> list[Organisation]:
    """Return the dealers whose cars this workshop has or had, by name."""
    mine = Organisation.objects.filter(workshop_accounts__workshop_id=caller.organisation_id)
    return list(mine.order_by("name"))
