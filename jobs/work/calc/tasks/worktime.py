"""Working minutes: what was spent on a task, with the car's holds taken out.

A person's minute counts once. Where somebody has several clocks running, it belongs to the one
started last whose car is not held: that is what the hands are on, and a clock that was forgotten
takes nothing from the work that came after it. Our own rule; a share for each clock would halve
what every later task took beside a forgotten one.
"""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from math import floor
from uuid import UUID

from jobs.work.calc.instants import to_utc

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


@dataclass(frozen=True, slots=True)
class Clock:
    """One person's clock on a task of a car; `key` tells clocks apart and sorts as they were made.

    `person` is None where no name was given: whose other clocks are running is then not known.
    """

    key: UUID
    person: UUID | None
    car: UUID
    span: Span


def merged(spans: Iterable[Span]) -> list[Span]:
    """Return the spans in order, those that touch or overlap joined, empty ones dropped."""
    joined: list[Span] = []
    for span in sorted(spans, key=lambda span: span.start):
        if span.end <= span.start:
            continue
        if joined and span.start <= joined[-1].end:
            last = joined.pop()
            joined.append(Span(last.start, max(last.end, span.end)))
        else:
            joined.append(span)
    return joined


def outside(span: Span, taken: Sequence[Span]) -> list[Span]:
    """Return what of the span lies outside all of these, which lie apart and in order."""
    left, since = [], span.start
    for hole in taken:
        if hole.start >= span.end:
            break
        if hole.start > since:
            left.append(Span(since, hole.start))
        since = max(since, hole.end)
    return [*left, Span(since, span.end)] if since < span.end else left


def seconds_of(spans: Iterable[Span]) -> float:
    """Return how many seconds the spans last together; overlaps count as often as they come."""
    return sum(span.seconds for span in spans)


def within(spans: Iterable[Span], whole: Span) -> list[Span]:
    """Return what of the spans lies within a stretch of time."""
    cut = (Span(max(span.start, whole.start), min(span.end, whole.end)) for span in spans)
    return [part for part in cut if part.start < part.end]


def seconds_outside(span: Span, holds: Iterable[Span]) -> float:
    """Return how many seconds of the span lie outside every hold."""
    return seconds_of(outside(span, merged(holds)))


def counted(
    clocks: Iterable[Clock], holds: Mapping[UUID, Sequence[Span]]
) -> dict[UUID, list[Span]]:
    """Return by key what of each clock counts: outside its car's holds, each person's time once.

    `holds` is by car. Of a person's clocks that run at once, the one started last counts.
    """
    waits = {car: merged(spans) for car, spans in holds.items()}
    taken: dict[UUID, list[Span]] = defaultdict(list)
    found: dict[UUID, list[Span]] = {}
    for clock in sorted(clocks, key=lambda clock: (clock.span.start, clock.key), reverse=True):
        worked = outside(clock.span, waits.get(clock.car, ()))
        if clock.person is not None:
            busy = taken[clock.person]
            worked = [part for span in worked for part in outside(span, busy)]
            taken[clock.person] = merged([*busy, *worked])
        found[clock.key] = worked
    return found


def whole_minutes(seconds: float) -> int:
    """Return seconds as minutes, halves rounded up."""
    return floor(seconds / SECONDS_A_MINUTE + 0.5)
