"""What must not be forgotten before a car leaves, and of what it left behind.

A reminder names no contents of belongings: it rides in events too.
"""

from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

from jobs.work.calc.findings import Over
from jobs.work.calc.stages.left_open import LeftOpen
from jobs.work.calc.stages.machine import Stage
from jobs.work.models import Finding, Job, SuppliedTick, Task, WalkRound, WorkRequest

# Our own words; a technician is asked for wherever a vehicle's safety is in question.
NOT_CLEARED = (
    "This car must not be driven: nobody moves it until it is repaired or transported. Have it "
    "inspected by a qualified technician."
)
TRANSPORTED = (
    "This car must not be driven: it leaves on a transporter, and is inspected by a qualified "
    "technician."
)
Reminder = dict[str, str]


@dataclass(frozen=True, slots=True)
class Found:
    """What the findings of a job leave open.

    `not_to_be_driven`: neither repaired nor withdrawn. Of those, `danger_not_acknowledged`: one
    that the dealer does not know of; `danger_not_cleared`: one that will not be transported either.
    """

    things_here: int
    data_not_wiped: int
    not_to_be_driven: bool
    not_acknowledged: int
    danger_not_acknowledged: bool
    danger_not_cleared: bool


@dataclass(frozen=True, slots=True)
class Open:
    """All that a job leaves open: counts, and whether the walk-round on leaving is recorded.

    `supplied`: the things the dealer supplied that are neither fitted nor marked as not used.
    """

    found: Found
    requests: int = 0
    changes: int = 0
    walked_out: bool = True
    supplied: int = 0


def found_on(job: Job) -> Found:
    """Return what the job's findings leave open: one query."""
    return found_in(list(Finding.objects.filter(job=job).select_related("belonging")))


def found_in(findings: Sequence[Finding]) -> Found:
    """Return what these findings, read with their belongings, leave open."""
    stop = [finding for finding in findings if finding.must_not_be_driven]
    things = [finding.belonging for finding in findings if hasattr(finding, "belonging")]
    return Found(
        things_here=sum(thing.is_thing and thing.returned_at is None for thing in things),
        data_not_wiped=sum(not thing.is_thing and not thing.wiped for thing in things),
        not_to_be_driven=bool(stop),
        not_acknowledged=sum(
            finding.acknowledged_at is None and finding.over_how != Over.WITHDRAWN
            for finding in findings
        ),
        danger_not_acknowledged=any(finding.acknowledged_at is None for finding in stop),
        danger_not_cleared=any(not finding.over_how for finding in stop),
    )


def left_open_for_ready(job: Job) -> LeftOpen:
    """Return what is open where a car is called ready: one query."""
    states = Counter(job.tasks.exclude(state=Task.State.DROPPED).values_list("state", flat=True))
    left = states[Task.State.WANTED] + states[Task.State.STARTED]
    return LeftOpen(tasks_open=left, tasks=states.total())


def left_open_for_collection(job: Job, found: Found) -> LeftOpen:
    """Return what is open where a car leaves: two queries.

    The work on a cancelled order is over as it is. A "do not drive" that the dealer does not know
    of is no matter of confirming: it wants a reason.
    """
    tasks = LeftOpen() if job.cancelled_at is not None else left_open_for_ready(job)
    return replace(
        tasks,
        not_walked_round=not _walked_out(job),
        not_cleared=found.not_to_be_driven and not found.danger_not_acknowledged,
    )


def reminders_of(job: Job) -> list[Reminder]:
    """Return what is open on the job, most urgent first, each with a stable code and a sentence.

    Five queries at most, however much there is. After collection only what the findings leave
    open still counts; before the car has come there is nothing.
    """
    if job.arrived_at is None:
        return []
    open_on = Open(found=found_on(job))
    if job.collected_at is None:
        waiting = WorkRequest.objects.filter(job=job, state=WorkRequest.State.OPEN)
        # Whoever shows the job has its changes at hand already.
        unseen = sum(change.seen_at is None for change in job.scope_changes.all())
        open_on = replace(open_on, requests=waiting.count(), changes=unseen)
        if _leaves(job):
            open_on = replace(open_on, walked_out=_walked_out(job), supplied=_supplied_left(job))
    return reminders_from(job, open_on)


def reminders_from(job: Job, open_on: Open) -> list[Reminder]:
    """Return the reminders that follow from what is open on the job, without a query."""
    if job.arrived_at is None:
        return []
    reminders = list(_of_findings(open_on.found))
    if job.collected_at is None:
        reminders += _of_agreement(open_on)
        if _leaves(job):
            reminders += _of_leaving(open_on)
    return [{"code": code, "text": text} for code, text in reminders]


def _leaves(job: Job) -> bool:
    return job.stage == Stage.READY or job.cancelled_at is not None


def _walked_out(job: Job) -> bool:
    leaving = WalkRound.objects.filter(job=job, occasion=WalkRound.Occasion.LEAVING)
    return leaving.exists()


def _supplied_left(job: Job) -> int:
    if not job.supplied:
        return 0
    settled = SuppliedTick.objects.filter(job=job).exclude(state=SuppliedTick.State.RECEIVED)
    return len(set(job.supplied) - set(settled.values_list("item", flat=True)))


def _of_findings(found: Found) -> Iterator[tuple[str, str]]:
    if found.not_to_be_driven:
        yield "do_not_drive", NOT_CLEARED if found.danger_not_cleared else TRANSPORTED
    if found.not_acknowledged:
        yield (
            "findings_not_acknowledged",
            f"Findings the dealer has not acknowledged: {found.not_acknowledged}.",
        )
    if found.things_here:
        yield (
            "belongings_here",
            f"Belongings that are here and not signed back: {found.things_here}.",
        )
    if found.data_not_wiped:
        yield (
            "data_not_wiped",
            f"Personal data in the car that is not wiped: {found.data_not_wiped}.",
        )


def _of_agreement(open_on: Open) -> Iterator[tuple[str, str]]:
    if open_on.requests:
        yield "requests_open", f"Requests that the dealer has not answered: {open_on.requests}."
    if open_on.changes:
        yield (
            "changes_not_seen",
            f"Changes of the dealer's that nobody at the workshop has seen: {open_on.changes}.",
        )


def _of_leaving(open_on: Open) -> Iterator[tuple[str, str]]:
    if not open_on.walked_out:
        yield "leaving_not_recorded", "The walk-round on leaving is not recorded."
    if left := open_on.supplied:
        yield (
            "supplied_not_ticked",
            f"Things the dealer supplied, neither fitted nor marked as not used: {left}.",
        )
