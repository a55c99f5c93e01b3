"""Working minutes: what was spent on a task, with the job's holds taken out."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from math import floor

from jobs.calc.instants import to_utc

SECONDS_A_MINUTE = 60


@dataclass(frozen=True, slots=True)
class Span:
    """A stretch of time in UTC, end exclusive.

    Raises ValueError for a time without a time zone.
    """

    start: datetime
    end: datetime

    def __post_init__(self) -> None:
        """Turn times of any zone into UTC, so that every sum is of elapsed time."""
        object.__setattr__(self, "start", to_utc(self.start))
        object.__setattr__(self, "end", to_utc(self.end))

    @property
    def seconds(self) -> float:
        """Return how long it is; below zero where it ends before it starts."""
        return (self.end - self.start).total_seconds()


def merged(spans: Iterable[Span]) -> list[Span]:
    """Return the spans in order, those that touch or overlap joined, empty ones dropped."""
    joined: list[Span] = []
    for span in sorted(spans, key=lambda one: one.start):
        if span.end <= span.start:
            continue
        if joined and span.start <= joined[-1].end:
            last = joined.pop()
            joined.append(Span(last.start, max(last.end, span.end)))
        else:
            joined.append(span)
    return joined


def seconds_outside(span: Span, holds: Iterable[Span]) -> float:
    """Return how many seconds of the span lie outside every hold."""
    total = max(0.0, span.seconds)
    for hold in merged(holds):
        overlap = min(span.end, hold.end) - max(span.start, hold.start)
        total -= max(0.0, overlap.total_seconds())
    return total


def worked_minutes(spells: Iterable[Span], holds: Iterable[Span]) -> int:
    """Return the person-minutes of all spells with the holds taken out, halves rounded up.

    Two valeters at once for 30 minutes are 60 minutes of work.
    """
    waiting = merged(holds)
    seconds = sum(seconds_outside(spell, waiting) for spell in spells)
    return floor(seconds / SECONDS_A_MINUTE + 0.5)
