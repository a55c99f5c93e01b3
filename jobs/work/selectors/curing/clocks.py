"""What cures, dries or flashes off on cars: one place says whether it runs at an instant."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from operator import itemgetter
from typing import Any
from uuid import UUID

from django.db.models import Exists, F, OuterRef, Q, QuerySet, Subquery

from core.clock import now
from jobs.work.calc.curing.cure import Cure, Estimate, Reading, Summed, cure_process
from jobs.work.calc.curing.drying import Air, Drying, drying_process
from jobs.work.calc.curing.estimate import Process, summed_by
from jobs.work.calc.curing.estimate import estimate_of as estimate_by
from jobs.work.calc.stages.machine import Stage
from jobs.work.models import ClimateSetup, Job, WaitClock
from jobs.work.selectors.air import readings_for_clocks

# A reading older than the clock by this still says what the air was like when it started.
BEFORE = timedelta(hours=2)
# How long a clock that ended is looked at again when readings of its time come in late.
LOOKED_AT_AGAIN = timedelta(days=3)
# A clock that runs for longer goes by a sum of what was before, brought on a day at a time: so
# nobody reads more of the air than this and a day, however long a car stands in the cold.
READ_BACK, BROUGHT_ON = timedelta(days=14), timedelta(days=1)
WAITS = frozenset({"waits_until", "halted", "to_feel"})
LAST_TO_END = F("ends_at").asc(nulls_last=True)


def running_at(at: datetime) -> Q:
    """Return the condition of a clock that a car waits for at an instant.

    One that has to be felt runs until somebody found it dry, however early or late that was;
    every other runs until its end, and what is halted has none.
    """
    endless = Q(ends_at__isnull=True) | Q(ends_at__gt=at)
    unfelt = Q(closed_at__isnull=True) & (Q(touch_test=True) | endless)
    return unfelt | Q(closed_at__gt=at)


def is_running(clock: WaitClock, at: datetime) -> bool:
    """Return the same of a clock that is at hand."""
    if clock.closed_at is not None:
        return clock.closed_at > at
    return clock.touch_test or not clock.has_ended(at)


def with_waits(jobs: QuerySet[Job], at: datetime) -> QuerySet[Job]:
    """Add to jobs what they wait for; `waits_of` reads it.

    `waits_until`: when the last of what cures, dries or flashes off is done, where that is to
    come. `halted`: the task whose work stands still, so that nobody can say when all is done, or
    None. `to_feel`: the task whose work ought to be dry by now and that nobody has felt, or None.
    """
    running = WaitClock.objects.filter(running_at(at), job=OuterRef("pk"))
    to_come = running.filter(ends_at__gt=at).order_by("-ends_at")
    due = running.filter(touch_test=True, ends_at__lte=at).order_by("ends_at", "pk")
    halted = running.filter(ends_at__isnull=True).order_by("pk")
    return jobs.annotate(
        waits_until=Subquery(to_come.values("ends_at")[:1]),
        halted=Subquery(halted.values("task__name")[:1]),
        to_feel=Subquery(due.values("task__name")[:1]),
    )


@dataclass(frozen=True, slots=True)
class Running:
    """What runs on some cars together: how many clocks, and how many have to be felt by now.

    `changes_at`: when time alone changes something of it, or None where it never does.
    """

    count: int
    to_test: int
    changes_at: datetime | None


def waits_add(jobs: Sequence[Job], at: datetime) -> Running:
    """Add to jobs at hand what they wait for, as `with_waits` does: one query for all of them."""
    running: dict[UUID, list[tuple[datetime | None, bool, str]]] = {job.pk: [] for job in jobs}
    clocks = WaitClock.objects.filter(running_at(at), job__in=running).order_by("pk")
    moments: list[datetime] = []
    count = to_test = 0
    for job_id, ends_at, closed_at, touch_test, task in clocks.values_list(
        "job_id", "ends_at", "closed_at", "touch_test", "task__name"
    ):
        running[job_id].append((ends_at, touch_test, task))
        moments += [moment for moment in (ends_at, closed_at) if moment and moment > at]
        count += 1
        to_test += touch_test and ends_at is not None and ends_at <= at
    for job in jobs:
        vars(job).update(_waits_by(running[job.pk], at))
    return Running(count, to_test, min(moments, default=None))


def _waits_by(clocks: Sequence[tuple[datetime | None, bool, str]], at: datetime) -> dict[str, Any]:
    """Return what a job waits for by its running clocks, the oldest first."""
    ends = [(end, touch, task) for end, touch, task in clocks if end is not None]
    due = [(end, task) for end, touch, task in ends if touch and end <= at]
    return {
        "waits_until": max((end for end, _, _ in ends if end > at), default=None),
        "halted": next((task for end, _, task in clocks if end is None), None),
        "to_feel": min(due, key=itemgetter(0))[1] if due else None,
    }


@dataclass(frozen=True, slots=True)
class CarWaits:
    """What a car waits for at an instant, as `with_waits` says it."""

    until: datetime | None
    halted: str
    to_feel: str

    def __bool__(self) -> bool:
        """Return whether anything on the car is not done."""
        return self.until is not None or bool(self.halted or self.to_feel)


def waits_of(job: Job) -> CarWaits:
    """Return what a job waits for.

    One that came `with_waits` is not asked about again; for any other it is one query, since
    nothing known is not the same as nothing there.
    """
    known = vars(job)
    if not known.keys() >= WAITS:
        known = with_waits(Job.objects.filter(pk=job.pk), now()).values(*WAITS).get()
    halted = known["halted"] or ""
    return CarWaits(None if halted else known["waits_until"], halted, known["to_feel"] or "")


def waits_until(job: Job) -> datetime | None:
    """Return until when a job waits, or None where no time says."""
    return waits_of(job).until


def halted_on(job: Job) -> str:
    """Return what stands still on a job, so that no end is known, or nothing."""
    return waits_of(job).halted


def to_feel(job: Job) -> str:
    """Return what a job has to be felt for now, or nothing."""
    return waits_of(job).to_feel


def waits(job: Job) -> bool:
    """Return whether anything on a job is not done."""
    return bool(waits_of(job))


def running_clocks(job: Job, at: datetime) -> list[WaitClock]:
    """Return what runs on a job at an instant, with the tasks, the last to end last."""
    clocks = WaitClock.objects.filter(running_at(at), job=job).select_related("task")
    return list(clocks.order_by(LAST_TO_END, "pk"))


def clocks_in_question(job: Job, *, since: datetime) -> list[WaitClock]:
    """Return the job's clocks whose end can still matter, with the tasks, the last to end last.

    Those that ended and are settled are among them for a while: a late reading may prove them
    wrong.
    """
    clocks = WaitClock.objects.filter(_in_question(since), job=job).select_related("task")
    return list(clocks.order_by(LAST_TO_END, "pk"))


def _in_question(since: datetime) -> Q:
    lately = since - LOOKED_AT_AGAIN
    return Q(settled_at__isnull=True) | Q(ends_at__gt=lately) | Q(closed_at__gt=lately)


def readings_of(workshop_id: UUID, clocks: Sequence[WaitClock]) -> list[Reading]:
    """Return the readings of the air that decide when these clocks end: at most one query.

    Those before the instant up to which a clock was summed do not count for it any more.
    """
    if not clocks:
        return []
    since = min(clock.summed_at or clock.started_at for clock in clocks) - BEFORE
    return readings_for_clocks(workshop_id, since=since, until=now())


def estimate_of(
    clock: WaitClock, readings: Sequence[Reading], *, at: datetime, minutes: int | None = None
) -> Estimate | None:
    """Return when a clock is done by the air, as known at an instant; None where it is fixed.

    `minutes` takes the place of its own minutes at the reference.
    """
    minutes = clock.reference_minutes if minutes is None else minutes
    if minutes is None:
        return None
    return estimate_by(
        _process_of(clock, minutes),
        readings,
        started_at=clock.started_at,
        at=at,
        summed=_summed(clock),
    )


def sum_brought_on(clock: WaitClock, readings: Sequence[Reading], *, at: datetime) -> Summed | None:
    """Return what is done of a clock that runs for long by a reading of weeks ago, where due.

    A reading from before that has the sum forgotten when it comes in (`sums_forget`).
    """
    since = clock.summed_at or clock.started_at
    ready = [
        reading.at
        for reading in readings
        if since < reading.at <= at - READ_BACK and not reading.doubtful
    ]
    if clock.reference_minutes is None or not ready or ready[-1] - since < BROUGHT_ON:
        return None
    return summed_by(
        _process_of(clock, clock.reference_minutes),
        readings,
        started_at=clock.started_at,
        by=ready[-1],
        summed=_summed(clock),
    )


def _process_of(clock: WaitClock, minutes: int) -> Process:
    if clock.kind == WaitClock.Kind.DRYING:
        return drying_process(Drying(minutes, Air(clock.air or Air.STILL)))
    return cure_process(replace(cure_of(clock), reference_minutes=minutes))


def _summed(clock: WaitClock) -> Summed | None:
    if clock.summed_at is None:
        return None
    return Summed(clock.summed_at, clock.summed_least, clock.summed_most, clock.summed_width)


def cure_of(clock: WaitClock) -> Cure:
    """Return how what the clock stands for cures; its minutes are known."""
    return Cure(
        clock.reference_minutes or 0,
        clock.reference_celsius,
        clock.q10,
        clock.lowest_celsius,
        clock.highest_celsius,
    )


def clocks_due(*, limit: int) -> list[UUID]:
    """Return the workshops with readings that clocks have not been worked out with yet."""
    due = ClimateSetup.objects.filter(clocks_due=True).order_by("workshop_id")
    return list(due.values_list("workshop_id", flat=True)[:limit])


def setup_due_for_change(workshop_id: UUID) -> ClimateSetup | None:
    """Return a workshop's setup with its row locked, or None where its clocks are not due."""
    setup = ClimateSetup.objects.select_for_update().filter(workshop_id=workshop_id).first()
    return setup if setup is not None and setup.clocks_due else None


def jobs_with_clocks(workshop_id: UUID, at: datetime) -> list[UUID]:
    """Return a workshop's open jobs with a clock that can still matter.

    Of a car that is ready, what has ended stays as it is.
    """
    clocks = WaitClock.objects.filter(_in_question(at), job=OuterRef("pk"))
    runs_on = clocks.filter(settled_at__isnull=True)
    mine = Job.objects.filter(workshop_id=workshop_id, is_open=True)
    wanted = Q(Exists(runs_on)) | (Q(Exists(clocks)) & ~Q(stage=Stage.READY.value))
    return list(mine.filter(wanted).order_by("pk").values_list("pk", flat=True))


def jobs_to_settle(at: datetime, *, limit: int) -> list[UUID]:
    """Return jobs on which nothing runs any more and that was not written down yet.

    On one that is over, nobody waits for what runs.
    """
    running = WaitClock.objects.filter(running_at(at), job=OuterRef("job"), settled_at__isnull=True)
    left = WaitClock.objects.filter(settled_at__isnull=True)
    left = left.filter(Q(job__is_open=False) | ~Q(Exists(running)))
    jobs = left.order_by("job").values_list("job", flat=True).distinct()
    return list(jobs[:limit])


def job_to_settle(job_id: UUID) -> Job:
    """Return a job with its row locked, for the service itself."""
    return Job.objects.select_for_update(of=("self",)).get(pk=job_id)
