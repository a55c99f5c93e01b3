"""When something that cures or dries is done: between which moments, and how that is known.

The rate says how much quicker than at its reference something goes, so its integral counts minutes
at the reference. A course of the air is cut into pieces, for each of which the integral and its
inverse are known in closed form.
"""

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta
from enum import StrEnum
from itertools import chain, tee
from typing import Protocol

from jobs.calc.air_series import AirState, Stretch
from jobs.calc.instants import minutes_between, to_utc

# What is not done by then stands still, as far as anybody can tell: our own figure.
LONGEST_WAIT_MINUTES = 14 * 24 * 60.0
# Something that takes weeks anyway is given longer.
_LONGEST_IN_REFERENCES = 4
_PERCENT = 100


class Basis(StrEnum):
    """What an estimate rests on; the values are those that clocks are stored with."""

    FIXED = "fixed"
    NOT_MEASURED = "not_measured"
    MEASURED = "measured"
    GAPS = "gaps"


class Halted(StrEnum):
    """Why nobody can say when it will be done."""

    NO = ""
    TOO_COLD = "too_cold"
    TOO_DAMP = "too_damp"


@dataclass(frozen=True, slots=True)
class Estimate:
    """Done between two moments, in UTC; `progress_percent` is what is done for certain so far."""

    earliest_at: datetime
    latest_at: datetime
    progress_percent: int
    basis: Basis
    halted: Halted


class Piece(Protocol):
    """A stretch of minutes over which the rate has a closed form."""

    @property
    def starts(self) -> float:
        """The minute it starts, 0 being the start of the clock."""

    @property
    def ends(self) -> float:
        """The minute it ends."""

    def done(self, start: float, end: float) -> float:
        """Return the minutes at the reference that a span within the piece is worth."""

    def minute_when(self, amount: float, start: float) -> float:
        """Return the minute by which so much is done since `start`; it is known to be in here."""


def longest_wait(reference_minutes: float) -> float:
    """Return the minutes after which something counts as standing still."""
    return max(LONGEST_WAIT_MINUTES, _LONGEST_IN_REFERENCES * reference_minutes)


def done_by(pieces: Iterable[Piece], minute: float) -> float:
    """Return the minutes at the reference that the time from 0 to this minute is worth."""
    total = 0.0
    for piece in pieces:
        if piece.starts >= minute:
            break
        start, end = max(piece.starts, 0.0), min(piece.ends, minute)
        if start < end:
            total += piece.done(start, end)
    return total


def minute_done(pieces: Iterable[Piece], needed: float, until: float) -> float | None:
    """Return the minute by which that much is done, or None where it is not by `until`."""
    left = needed
    if left <= 0:
        return 0.0
    for piece in pieces:
        start, end = max(piece.starts, 0.0), min(piece.ends, until)
        if start >= end:
            continue
        here = piece.done(start, end)
        if here >= left:
            return min(max(piece.minute_when(left, start), start), end)
        left -= here
    return None


def estimate_of(
    course: Iterator[Stretch],
    piece: Callable[[Stretch, tuple[AirState, AirState]], Piece],
    *,
    unmeasured: tuple[AirState, AirState],
    needed: float,
    started_at: datetime,
    at: datetime,
    why_halted: Halted,
) -> Estimate:
    """Return the estimate from the slowest and the fastest that it may go.

    `piece` makes of a stretch and the air at its two ends what is integrated; `unmeasured` is the
    slowest and the fastest air where the course is empty; `needed` are minutes at the reference.
    Both ends are rounded to a second, the same way, so that an end between them stays there. Where
    they fall together all that counted was measured. What is not done by the longest wait has that
    as its end, and `why_halted`.
    """
    until = longest_wait(needed)
    first = next(course, None)
    measured = first is not None
    if first is None:
        slowest, fastest = unmeasured
        first = Stretch(0.0, until, (slowest, slowest), (fastest, fastest))
    slow, fast, again = tee(chain([first], course), 3)
    end = minute_done((piece(one, one.slow) for one in slow), needed, until)
    early = minute_done((piece(one, one.fast) for one in fast), needed, until)
    latest = _moment(started_at, until if end is None else end)
    earliest = min(_moment(started_at, until if early is None else early), latest)
    if end is not None and to_utc(at) >= latest:
        percent = _PERCENT
    else:
        done = done_by((piece(one, one.slow) for one in again), minutes_between(started_at, at))
        percent = min(int(_PERCENT * done / max(needed, 1)), _PERCENT - 1)
    basis = Basis.MEASURED if earliest == latest else Basis.GAPS
    return Estimate(
        earliest_at=earliest,
        latest_at=latest,
        progress_percent=percent,
        basis=basis if measured else Basis.NOT_MEASURED,
        halted=why_halted if end is None else Halted.NO,
    )


def _moment(started_at: datetime, minute: float) -> datetime:
    return to_utc(started_at) + timedelta(seconds=round(minute * 60))
