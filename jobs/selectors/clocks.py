"""What cures, dries or flashes off on cars: one place says whether it runs at an instant."""

from datetime import datetime

from django.db.models import OuterRef, Q, QuerySet, Subquery

from jobs.models import Job, WaitClock


def running_at(at: datetime) -> Q:
    """Return the condition of a clock that a car waits for at an instant.

    One that has to be felt runs until somebody found it dry, however early or late that was;
    every other runs until its end.
    """
    unfelt = Q(closed_at__isnull=True) & (Q(touch_test=True) | Q(ends_at__gt=at))
    return unfelt | Q(closed_at__gt=at)


def is_running(clock: WaitClock, at: datetime) -> bool:
    """Say the same of a clock that is at hand."""
    if clock.closed_at is not None:
        return clock.closed_at > at
    return clock.touch_test or clock.ends_at > at


def with_waits(jobs: QuerySet[Job], at: datetime) -> QuerySet[Job]:
    """Have jobs come with what they wait for; `waits` reads it.

    `waits_until`: when the last of what cures, dries or flashes off is done, where that is to
    come. `to_feel`: the task whose work ought to be dry by now and that nobody has felt, or None.
    """
    running = WaitClock.objects.filter(running_at(at), job=OuterRef("pk"))
    to_come = running.filter(ends_at__gt=at).order_by("-ends_at")
    due = running.filter(touch_test=True, ends_at__lte=at).order_by("ends_at", "pk")
    return jobs.annotate(
        waits_until=Subquery(to_come.values("ends_at")[:1]),
        to_feel=Subquery(due.values("task__name")[:1]),
    )


def waits_until(job: Job) -> datetime | None:
    """Return until when a job that came `with_waits` waits, or None where no time says."""
    until: datetime | None = getattr(job, "waits_until", None)
    return until


def to_feel(job: Job) -> str:
    """Return what a job that came `with_waits` has to be felt for now, or nothing."""
    return getattr(job, "to_feel", None) or ""


def waits(job: Job) -> bool:
    """Say whether anything on a job that came `with_waits` is not done."""
    return waits_until(job) is not None or bool(to_feel(job))


def running_clocks(job: Job, at: datetime) -> list[WaitClock]:
    """Return what runs on a job at an instant, with the tasks, the last to end last."""
    clocks = WaitClock.objects.filter(running_at(at), job=job).select_related("task")
    return list(clocks.order_by("ends_at", "pk"))
