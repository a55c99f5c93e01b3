"""What must not be forgotten before a car leaves, and of what it left behind.

A reminder names no contents of belongings: it rides in events too.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from jobs.calc.findings import Weight
from jobs.calc.stages import Stage
from jobs.models import Belonging, Finding, Job, SuppliedTick, WalkRound, WorkRequest

DATA = frozenset(Belonging.What.values) - Belonging.THINGS
Reminder = dict[str, str]


@dataclass(frozen=True, slots=True)
class Found:
    """What the findings of a job leave open."""

    things_here: int
    data_not_wiped: int
    not_to_be_driven: bool
    not_acknowledged: int
    danger_not_acknowledged: bool


def found_on(job: Job) -> Found:
    """Return what the job's findings leave open: one query."""
    rows: list[Any] = list(
        Finding.objects.filter(job=job).values(
            "weight", "acknowledged_at", "belonging__what", "belonging__returned_at",
            "belonging__wiped",
        )
    )  # fmt: skip
    stop = [row for row in rows if row["weight"] == Weight.DO_NOT_DRIVE]
    return Found(
        things_here=sum(
            row["belonging__what"] in Belonging.THINGS and row["belonging__returned_at"] is None
            for row in rows
        ),
        data_not_wiped=sum(
            row["belonging__what"] in DATA and not row["belonging__wiped"] for row in rows
        ),
        not_to_be_driven=bool(stop),
        not_acknowledged=sum(row["acknowledged_at"] is None for row in rows),
        danger_not_acknowledged=any(row["acknowledged_at"] is None for row in stop),
    )


def reminders_of(job: Job) -> list[Reminder]:
    """Return what is open on the job, most urgent first, each with a stable code and a sentence.

    Five queries at most, however much there is. After collection only what the findings leave
    open still counts; before the car has come there is nothing.
    """
    if job.arrived_at is None:
        return []
    reminders = list(_of_findings(found_on(job)))
    if job.collected_at is None:
        reminders += _of_agreement(job)
        if job.stage == Stage.READY or job.cancelled_at is not None:
            reminders += _of_leaving(job)
    return [{"code": code, "text": text} for code, text in reminders]


def _of_findings(found: Found) -> Iterator[tuple[str, str]]:
    if found.not_to_be_driven:
        yield (
            "do_not_drive",
            "This car must not be driven: have it transported, and inspected by a technician.",
        )
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


def _of_agreement(job: Job) -> Iterator[tuple[str, str]]:
    if waiting := WorkRequest.objects.filter(job=job, state=WorkRequest.State.OPEN).count():
        yield "requests_open", f"Requests that the dealer has not answered: {waiting}."
    # Whoever shows the job has its changes at hand already.
    if unseen := sum(change.seen_at is None for change in job.scope_changes.all()):
        yield (
            "changes_not_seen",
            f"Changes of the dealer's that nobody at the workshop has seen: {unseen}.",
        )


def _of_leaving(job: Job) -> Iterator[tuple[str, str]]:
    leaving = WalkRound.objects.filter(job=job, occasion=WalkRound.Occasion.LEAVING)
    if not leaving.exists():
        yield "leaving_not_recorded", "The walk-round on leaving is not recorded."
    if not job.supplied:
        return
    settled = SuppliedTick.objects.filter(job=job).exclude(state=SuppliedTick.State.RECEIVED)
    left = set(job.supplied) - set(settled.values_list("item", flat=True))
    if left:
        yield (
            "supplied_not_ticked",
            f"Things the dealer supplied, neither fitted nor marked as not used: {len(left)}.",
        )
