"""What of a job's way can be undone: the last arrival, move or collection that stands."""

from collections.abc import Sequence
from datetime import datetime

from django.utils.dateparse import parse_datetime

from jobs.work.calc.stages.machine import (
    AFTER_NO_ARRIVAL,
    UNDOABLE,
    Kind,
    Refusal,
    Stage,
    refuse_correction,
)
from jobs.work.models import HistoryEntry, Job
from jobs.work.selectors.jobs.jobs import open_twin

STEPS = [kind.value for kind in (*sorted(UNDOABLE), Kind.CORRECTED)]


def step_standing(job: Job, *, before: int | None = None) -> HistoryEntry | None:
    """Return the last step of the car that stands, or that stood before an entry: two queries.

    A correction knows which step it left standing, so that nothing before it has to be read.
    """
    steps = HistoryEntry.objects.filter(job=job, kind__in=STEPS).order_by("-number")
    last = (steps if before is None else steps.filter(number__lt=before)).first()
    if last is None or last.kind != Kind.CORRECTED:
        return last
    return steps.filter(number=last.data["left"]).first()


def refusal_to_undo(job: Job, step: HistoryEntry | None) -> Refusal | None:
    """Return why the step cannot be undone, or None."""
    kind = Kind(step.kind) if step else None
    noted = False
    if step is not None and kind is Kind.ARRIVED:
        later = HistoryEntry.objects.filter(job=job, number__gt=step.number)
        noted = later.exclude(kind__in=AFTER_NO_ARRIVAL).exists()
    again = kind is Kind.COLLECTED and open_twin(job) is not None
    return refuse_correction(job.state, kind, noted_since=noted, ordered_again=again)


def step_to_undo(job: Job, entries: Sequence[HistoryEntry]) -> HistoryEntry | None:
    """Return the step that a manager may undo now, or None where nothing may be.

    `entries`: the job's history as a page has read it, all the STEPS at least, oldest first.
    """
    steps = {entry.number: entry for entry in entries if entry.kind in STEPS}
    last = steps[max(steps)] if steps else None
    if last is not None and last.kind == Kind.CORRECTED:
        last = steps.get(last.data["left"])
    return None if refusal_to_undo(job, last) else last


def ready_since(job: Job, *, before: int) -> datetime | None:
    """Return since when a car was ready just before a history entry: one query."""
    entries = HistoryEntry.objects.filter(job=job, number__lt=before, to_stage=Stage.READY.value)
    last = entries.order_by("-number").first()
    if last is None:
        return None
    if last.kind == Kind.CORRECTED:
        return parse_datetime(last.data["ready_at"])
    return last.occurred_at
