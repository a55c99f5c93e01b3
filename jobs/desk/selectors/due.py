"""What the cars due take and what there is for them: open minutes, capacity, minutes worked."""

from collections import defaultdict
from datetime import date, datetime, timedelta

from django.db.models import Q, QuerySet
from django.utils.timezone import localtime

from accounts.caller import Caller
from jobs.desk.selectors.cars import work_of
from jobs.work.calc.hours import WantedCar, is_late
from jobs.work.calc.stages.machine import Decision, Stage
from jobs.work.calc.tasks.worktime import counted, seconds_of, whole_minutes, within
from jobs.work.models import Job, Spell
from jobs.work.selectors.hours import day_span
from jobs.work.selectors.jobs.jobs import jobs_of
from jobs.work.selectors.tasks import clock_on, holds_of, name_of, spans

# A device's clock may be a little ahead of ours, so a job may have changed before it was told.
CLOCKS_DIFFER = timedelta(minutes=10)


def wanted_cars(caller: Caller, at: datetime) -> list[WantedCar]:
    """Return the cars accepted and not ready with their open minutes: at most six queries."""
    jobs = list(_to_do(caller).filter(decision=Decision.ACCEPTED.value).order_by("pk"))
    ids = [job.pk for job in jobs]
    holds = holds_of(ids)
    work = work_of(ids, holds, at)
    return [
        WantedCar(
            day=localtime(job.due_at).date() if job.due_at else None,
            minutes=work[job.pk].left,
            late=job.due_at is not None and is_late(job.due_at, at),
        )
        for job in jobs
    ]


def orders_not_counted(caller: Caller) -> int:
    """Return how many orders wait to be accepted, so that their work is in no sum."""
    return _to_do(caller).filter(decision=Decision.AWAITED.value).count()


def _to_do(caller: Caller) -> QuerySet[Job]:
    return jobs_of(caller).filter(is_open=True).exclude(stage=Stage.READY.value)


def worked_today(caller: Caller, day: date, at: datetime) -> int:
    """Return the minutes that were worked on a day so far."""
    return sum(worked_by(caller, day, at).values())


def worked_by(caller: Caller, day: date, at: datetime) -> dict[str, int]:
    """Return the minutes worked on a day by each person, holds taken out: two queries.

    Whoever has two clocks running has worked each minute once.
    """
    whole = day_span(day)
    in_it = Q(started_at__lt=whole.end) & (Q(ended_at__isnull=True) | Q(ended_at__gt=whole.start))
    # What was worked on since then changed since then, or is open still: indexes tell which.
    lately = Q(updated_at__gte=whole.start - CLOCKS_DIFFER) | Q(is_open=True)
    mine = Spell.objects.filter(in_it, task__job__in=jobs_of(caller).filter(lately))
    rows = list(mine.select_related("person", "task").order_by("started_at", "pk"))
    holds = holds_of([row.task.job_id for row in rows])
    clocks = [clock_on(row.task.job_id, row, at) for row in rows]
    worked = counted(clocks, {car: spans(held, at) for car, held in holds.items()})
    seconds: dict[str, float] = defaultdict(float)
    for row in rows:
        seconds[name_of(row)] += seconds_of(within(worked[row.pk], whole))
    return {who: whole_minutes(total) for who, total in seconds.items()}
