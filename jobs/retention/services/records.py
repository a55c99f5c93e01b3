"""The record of an erasure: when, and how much went; never whose."""

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass

from core.clock import now
from jobs.retention.models import Removal
from jobs.retention.services.traces import traces_forget


@dataclass(slots=True)
class Tally:
    """What an erasure has removed so far."""

    record: Removal
    cars: int = 0
    rows: int = 0
    files: int = 0


@contextmanager
def recorded(step: Removal.Step) -> Iterator[Tally]:
    """Count what is removed, and write it down where it ends without an error."""
    tally = Tally(Removal(step=step, started_at=now()))
    yield tally
    traces_forget()
    record = tally.record
    record.cars, record.rows, record.files = tally.cars, tally.rows, tally.files
    record.finished_at = now()
    record.save(force_insert=True)
