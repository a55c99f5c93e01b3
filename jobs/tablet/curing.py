"""What cures and dries on a car, row by row, and when it may stand outside."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from core.templatetags.look import said
from jobs.tablet.coats import unmeasured
from jobs.tablet.selectors.car import TabletCar
from jobs.work.calc.curing.outside_words import outside_words
from jobs.work.models import WaitClock
from jobs.work.words.curing import ShownClock, in_order

WHOLE = 100


@dataclass(frozen=True, slots=True)
class WaitRow:
    """One clock in words, how far it is in per cent, and what work it is of where that is news."""

    wait: ShownClock
    percent: int
    work: str

    @property
    def clock(self) -> WaitClock:
        """Return the clock."""
        return self.wait.clock


@dataclass(frozen=True, slots=True)
class Waits:
    """All that runs on a car; once nothing does, since when, where anything did.

    `unmeasured`: nobody has measured the air lately, so a reading would make the times surer.
    """

    rows: Sequence[WaitRow]
    done_at: datetime | None
    outside_words: str
    unmeasured: bool


def waits_of(car: TabletCar, at: datetime) -> Waits:
    """Return what cures and dries on a car."""
    rows = [_row(wait, at) for wait in in_order(list(car.facts.running), at)]
    return Waits(
        rows=rows,
        done_at=car.facts.cured_at,
        outside_words=outside_words(outside, said) if (outside := car.facts.outside) else "",
        unmeasured=unmeasured(car),
    )


def _row(wait: ShownClock, at: datetime) -> WaitRow:
    coat = getattr(wait.clock, "coat", None)
    work = wait.work if coat is None else f"coat {coat.number}, {coat.kind}"
    return WaitRow(wait, progress_at(wait.clock, at), work)


def progress_at(clock: WaitClock, at: datetime) -> int:
    """Return how far a clock is in per cent: what was worked out, and evenly on from there.

    One that stands still goes on by nothing. A clock that is not done yet never shows 100.
    """
    if clock.has_ended(at):
        return WHOLE
    since = clock.worked_out_at or clock.started_at
    if clock.ends_at is None or since >= at:
        return clock.progress_percent
    share = (at - since) / (clock.ends_at - since)
    return min(int(clock.progress_percent + (WHOLE - clock.progress_percent) * share), WHOLE - 1)
