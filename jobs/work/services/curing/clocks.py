"""Clocks of what cures, dries or flashes off: started, worked out from the air, told where moved.

What takes a job here runs in its caller's transaction, with the job's row locked.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any
from uuid import UUID

from accounts.caller import Caller
from core.clock import now
from jobs.work import events
from jobs.work.calc.curing.cure import Basis, Halted, Reading
from jobs.work.calc.stages.machine import Kind, Stage
from jobs.work.models import HistoryEntry, Job, Task, WaitClock
from jobs.work.selectors.curing.clocks import (
    clocks_in_question,
    estimate_of,
    is_running,
    readings_of,
    running_at,
    sum_brought_on,
)
from jobs.work.services.jobs.recording import advance, event_tell, the_service

# Nobody plans by less. Our own figure.
LEAST_TOLD = timedelta(minutes=5)
WORKED_OUT = (
    "earliest_at",
    "ends_at",
    "basis",
    "halted",
    "progress_percent",
    "worked_out_at",
    "settled_at",
    "summed_at",
    "summed_least",
    "summed_most",
    "summed_width",
)


@dataclass(frozen=True, slots=True)
class NewClock:
    """What a clock is started with: minutes at a reference, and what changes them.

    `touch_test`: it ends by nothing but a person's hand. `air`: how the air moves over it.
    """

    kind: WaitClock.Kind
    minutes: int
    celsius: float = 15.0
    q10: float = 2.0
    lowest_celsius: float = 5.0
    highest_celsius: float | None = None
    air: str = ""
    touch_test: bool = False


@dataclass(frozen=True, slots=True)
class Renewed:
    """The clocks of a job as they are now, how each was before, and the readings they go by."""

    clocks: Sequence[WaitClock]
    before: dict[UUID, tuple[datetime | None, str]]
    readings: Sequence[Reading]
    was_halted: bool

    @property
    def halted(self) -> bool:
        """Return whether one of them is halted, so that all have no end that anybody can tell."""
        return any(clock.over_at is None for clock in self.clocks)

    @property
    def until(self) -> datetime | None:
        """Return when the last of them ends, or ended; None where nobody can say."""
        ends = [clock.over_at for clock in self.clocks if clock.over_at is not None]
        return None if self.halted else max(ends, default=None)

    @property
    def earliest(self) -> datetime | None:
        """Return before when not all of them are done; None where nothing says that."""
        known = [clock.closed_at or clock.earliest_at or clock.ends_at for clock in self.clocks]
        return max((at for at in known if at is not None), default=None)

    @property
    def last(self) -> WaitClock:
        """Return the one that decides."""
        return max(
            self.clocks,
            key=lambda clock: (clock.over_at is None, clock.over_at or clock.started_at, clock.pk),
        )


def clock_start(job: Job, task: Task, wait: NewClock, *, started_at: datetime) -> WaitClock:
    """Start a clock and work out its end; the job's own row is its caller's to save.

    Until when the car waits is then as good as told: whoever asks, reads it.
    """
    clock = WaitClock.objects.create(
        job=job,
        task=task,
        kind=wait.kind,
        started_at=started_at,
        ends_at=started_at + timedelta(minutes=wait.minutes),
        reference_minutes=wait.minutes,
        reference_celsius=wait.celsius,
        q10=wait.q10,
        lowest_celsius=wait.lowest_celsius,
        highest_celsius=wait.highest_celsius,
        air=wait.air,
        touch_test=wait.touch_test,
    )
    renewed = renew(job)
    job.waits_told = renewed.until
    return next(twin for twin in renewed.clocks if twin.pk == clock.pk)


def renew(job: Job, *, as_of: datetime | None = None) -> Renewed:
    """Work out the job's clocks by all that was measured until now, and save what changed.

    As of a time that is past, those that ran then are among them. Three queries at the most.
    """
    at = now()
    clocks = clocks_in_question(job, since=min(at, as_of or at))
    changing = [clock for clock in clocks if clock.closed_at is None and clock.reference_minutes]
    readings = readings_of(job.workshop_id, changing)
    before = {clock.pk: (clock.earliest_at or clock.ends_at, clock.basis) for clock in clocks}
    was_halted = any(clock.halted for clock in clocks)  # felt since or not
    changed = [clock for clock in changing if _work_out(clock, readings, at)]
    if changed:
        WaitClock.objects.bulk_update(changed, WORKED_OUT)
    return Renewed(clocks, before, readings, was_halted)


def _work_out(clock: WaitClock, readings: Sequence[Reading], at: datetime) -> bool:
    """Put the present estimate into a clock, and say whether that changed anything."""
    estimate = estimate_of(clock, readings, at=at)
    if estimate is None:
        return False
    was = _worked_out(clock)
    clock.earliest_at, clock.ends_at = estimate.earliest_at, estimate.latest_at
    clock.basis, clock.halted = estimate.basis.value, estimate.halted.value
    clock.progress_percent, clock.worked_out_at = estimate.progress_percent, at
    if not clock.has_ended(at):  # what had ended has not, as a late reading says
        clock.settled_at = None
        summed = sum_brought_on(clock, readings, at=at)
        if summed is not None:
            clock.summed_at = summed.at
            clock.summed_least, clock.summed_most = summed.least, summed.most
            clock.summed_width = summed.width
    return was != _worked_out(clock)


def _worked_out(clock: WaitClock) -> tuple[Any, ...]:
    ends = clock.earliest_at, clock.ends_at, clock.halted
    return *ends, clock.basis, clock.progress_percent, clock.summed_at


def sums_forget(workshop_id: UUID, *, since: datetime) -> None:
    """Forget the sums of the long clocks of open cars, for a reading from before them.

    What is kept of a sum begins after it, so it would count for nothing. The jobs' rows are locked
    first, so that nobody who is working a clock out meanwhile puts the old sum back.
    """
    summed = WaitClock.objects.filter(
        job__workshop_id=workshop_id, job__is_open=True, summed_at__gt=since
    )
    jobs = Job.objects.select_for_update(of=("self",)).filter(pk__in=summed.values("job"))
    known = [job.pk for job in jobs.order_by("pk")]
    WaitClock.objects.filter(job__in=known, summed_at__gt=since).update(
        summed_at=None, summed_width=None
    )


def tell_wait(
    job: Job, renewed: Renewed, *, caller: Caller | None = None, reason: str = ""
) -> list[HistoryEntry]:
    """Tell of it where the last clock ends at another time than told; return the entry to store.

    Without a caller the air did it. Of a car that is ready or gone nobody waits for the end, and
    an end that was and stays in the past is no news.
    """
    at, was, until = now(), job.waits_told, renewed.until
    waited_for = job.is_open and job.stage != Stage.READY.value
    if not renewed.clocks or not waited_for:
        return []
    nothing_told = was is None and not renewed.was_halted
    if nothing_told:
        job.waits_told = until
    if nothing_told or not _is_news(was, until, at):
        return []
    job.waits_told = until
    later = until is None or (was is not None and until > was)
    reason = reason or air_reason(renewed, later=later)
    # What stands still is not done before now, and nobody can say more.
    moments = {"until": until, "was": was, "earliest": renewed.earliest or at}
    entry = advance(
        job,
        kind=Kind.WAIT_MOVED,
        caller=caller or the_service(job),
        occurred_at=at,
        reason=reason,
        data={
            "later": later,
            **{name: moment and moment.isoformat() for name, moment in moments.items()},
        },
    )
    headline = events.wait_headline(later=later)
    data = {"job": events.job_data(job), "headline": headline, **moments, "reason": reason}
    event_tell(events.JOB_WAIT_CHANGED, job, at, data)
    return [entry]


def _is_news(was: datetime | None, until: datetime | None, at: datetime) -> bool:
    """Return whether another end than the one told is worth telling; None: nobody can say."""
    if was is None or until is None:
        return was != until
    return abs(until - was) >= LEAST_TOLD and max(until, was) > at


def clocks_close(job: Job, renewed: Renewed) -> list[HistoryEntry]:
    """Write down that the job's clocks are over, where none runs any more; return the entry of it.

    The entry is its caller's to store.
    """
    at = now()
    if job.is_open and any(is_running(clock, at) for clock in renewed.clocks):
        return []
    left = [clock for clock in renewed.clocks if clock.settled_at is None]
    for clock in left:
        clock.settled_at = at
    if left:
        WaitClock.objects.filter(pk__in=[clock.pk for clock in left]).update(settled_at=at)
    return _cured(job, left)


def clocks_reopen(job: Job) -> None:
    """Watch again what still runs on a car that was thought to be gone, and was written off."""
    written_off = WaitClock.objects.filter(running_at(now()), job=job, settled_at__isnull=False)
    written_off.update(settled_at=None)


def _cured(job: Job, over: list[WaitClock]) -> list[HistoryEntry]:
    """Return the entry that all is done, unless the car waits for it no more.

    Flashing off alone is no end: the next coat follows.
    """
    lasting = [clock for clock in over if clock.kind != WaitClock.Kind.FLASH_OFF]
    if not lasting or not job.is_open or job.stage == Stage.READY.value:
        return []
    ended = max(clock.over_at for clock in over if clock.over_at is not None)
    operations = list(dict.fromkeys(clock.task.operation for clock in lasting))
    return [
        advance(
            job,
            kind=Kind.CURED,
            caller=the_service(job),
            occurred_at=ended,
            data={"operations": operations},
        )
    ]


def air_reason(renewed: Renewed, *, later: bool) -> str:
    """Return in plain words what of the air moved the end; moments stand beside it."""
    clock, readings = renewed.last, renewed.readings
    if not readings:
        return "What was measured no longer counts."
    latest = next((reading for reading in reversed(readings) if not reading.doubtful), readings[-1])
    earliest_before, basis_before = renewed.before[clock.pk]
    measured = f"{latest.celsius:.1f} °C in the workshop."
    if clock.kind == WaitClock.Kind.DRYING and latest.humidity_percent is not None:
        measured = f"{latest.celsius:.1f} °C and {latest.humidity_percent:.0f} % in the workshop."
    if later and clock.halted:
        is_so = "is" if clock.surely_halted else "may get"
        what = "cold" if clock.halted == Halted.TOO_COLD else "damp"
        return f"It {is_so} too {what} for it to go on: {measured}"
    if basis_before == Basis.NOT_MEASURED:
        return f"The air is measured now: {measured}"
    # Both ends move where the air was other than before, one alone where less or more is known.
    earliest = clock.earliest_at or clock.ends_at
    moved = timedelta()
    if earliest is not None and earliest_before is not None:
        moved = earliest - earliest_before
    if later and moved > timedelta():
        drier = clock.kind == WaitClock.Kind.DRYING
        what = "The air takes up less water than before" if drier else "It was colder than before"
    elif not later and moved < timedelta():
        drier = clock.kind == WaitClock.Kind.DRYING
        what = "The air takes up more water than before" if drier else "It was warmer than before"
    elif later:
        what = "The air was not measured for a while"
    else:
        what = "The air was measured more closely"
    return f"{what}: {measured}"
