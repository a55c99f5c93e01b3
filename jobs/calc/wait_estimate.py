"""When something that cures or dries is done: between which moments, and how that is known.

The rate says how much quicker than at its reference something goes, so its integral counts minutes
at the reference. A course of the air is cut into pieces, for each of which the integral and its
inverse are known in closed form.
"""

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta
from enum import StrEnum
from itertools import takewhile, tee
from typing import Protocol

from jobs.calc.air_series import (
    AirState,
    Reading,
    Stretch,
    course_of,
)
from jobs.calc.instants import minutes_between, to_utc

# What is not done so long after the last reading has no end that anybody can tell: our own figure.
LONGEST_WAIT_MINUTES = 14 * 24 * 60.0
# Something that takes weeks anyway is given longer.
_LONGEST_IN_REFERENCES = 4
_PERCENT = 100
# Above this warmth makes nothing quicker, unless a product's sheet says so: common practice, no
# source. Sheets seldom let anything be put on in warmer air, so of what comes above they say
# nothing, and a film that skins over in the heat keeps its solvent.
NO_CREDIT_ABOVE_CELSIUS = 25.0


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
    """Done between two moments, in UTC; `progress_percent` is what is done for certain so far.

    What is halted has no latest end, and where it stands still by what was measured last no
    earliest one either.
    """

    earliest_at: datetime | None
    latest_at: datetime | None
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


@dataclass(frozen=True, slots=True)
class Process:
    """Something that goes on by the air: the minutes at the reference that it needs.

    `pieces` makes of a stretch and the air at its two ends what is integrated.
    """

    needed: float
    pieces: Callable[[Stretch, tuple[AirState, AirState]], Iterable["Piece"]]
    why_halted: Halted


@dataclass(frozen=True, slots=True)
class Summed:
    """What was done by the instant of a reading, minutes at the reference, at least and at most.

    From such an instant on, the course goes by that reading and later ones alone, so the sum of a
    clock that has run for long goes on from there without any from before.
    """

    at: datetime
    least: float
    most: float


def longest_wait(reference_minutes: float) -> float:
    """Return the minutes after the last reading in which something has to be done."""
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


def minute_done(pieces: Iterable[Piece], needed: float) -> float | None:
    """Return the minute by which that much is done, or None where no piece reaches it."""
    left = needed
    if left <= 0:
        return 0.0
    for piece in pieces:
        start = max(piece.starts, 0.0)
        if start >= piece.ends:
            continue
        here = piece.done(start, piece.ends)
        if here >= left:
            return min(max(piece.minute_when(left, start), start), piece.ends)
        left -= here
    return None


def estimate_of(
    process: Process,
    readings: Iterable[Reading],
    *,
    started_at: datetime,
    at: datetime,
    summed: Summed | None = None,
) -> Estimate:
    """Return the estimate from the slowest and the fastest that it may go.

    Both ends are rounded to a second, the same way, so that an end between them stays there. Where
    they fall together all that counted was measured. What is not done by the longest wait after
    the last reading is halted and has no end: whoever looks ahead further, only guesses. `summed`:
    what was done of it by then, which the readings go on from. Raises ValueError for a time without
    a time zone.
    """
    summed = summed or Summed(started_at, 0.0, 0.0)
    needed = process.needed
    course = course_of(readings, summed.at, longest_wait(needed))
    slow, fast, again, known, measured = tee(course, 5)
    end = minute_done(_slow(process, slow), needed - summed.least)
    early = minute_done(_fast(process, fast), needed - summed.most)
    if end is None and _stands_still(process, measured):
        early = None
    latest = None if end is None else _moment(summed.at, end)
    earliest = None if early is None else _moment(summed.at, early)
    if latest is not None and to_utc(at) >= latest:
        percent = _PERCENT
    else:
        by = minutes_between(summed.at, at)
        done = summed.least + done_by(_slow(process, again), by)
        percent = min(int(_PERCENT * done / max(needed, 1)), _PERCENT - 1)
    return Estimate(
        earliest_at=earliest,
        latest_at=latest,
        progress_percent=percent,
        basis=_basis(known, end, exact=earliest == latest),
        halted=process.why_halted if end is None else Halted.NO,
    )


def summed_by(
    process: Process,
    readings: Iterable[Reading],
    *,
    started_at: datetime,
    by: datetime,
    summed: Summed | None = None,
) -> Summed:
    """Return what is done by the instant of a sure reading, going on from an earlier sum.

    Raises ValueError for a time without a time zone.
    """
    summed = summed or Summed(started_at, 0.0, 0.0)
    slow, fast = tee(course_of(readings, summed.at, longest_wait(process.needed)))
    minute = minutes_between(summed.at, by)
    return Summed(
        by,
        summed.least + done_by(_slow(process, slow), minute),
        summed.most + done_by(_fast(process, fast), minute),
    )


def _slow(process: Process, course: Iterable[Stretch]) -> Iterator[Piece]:
    return (piece for stretch in course for piece in process.pieces(stretch, stretch.slow))


def _fast(process: Process, course: Iterable[Stretch]) -> Iterator[Piece]:
    return (piece for stretch in course for piece in process.pieces(stretch, stretch.fast))


def _stands_still(process: Process, course: Iterable[Stretch]) -> bool:
    """Say whether nothing goes on in the air that was measured last in its time."""
    last = None
    for stretch in course:
        if stretch.measured and stretch.ends > 0:
            last = stretch
    if last is None:
        return False
    pieces = process.pieces(last, (last.fast[1], last.fast[1]))
    return not any(piece.done(piece.starts, piece.ends) for piece in pieces)


def _basis(course: Iterable[Stretch], end: float | None, *, exact: bool) -> Basis:
    """Return what the ends rest on, by the stretches that count until the latest of them."""
    counted = takewhile(lambda stretch: end is None or stretch.starts < max(end, 1e-9), course)
    if not any(stretch.known and stretch.ends > 0 for stretch in counted):
        return Basis.NOT_MEASURED
    return Basis.MEASURED if exact else Basis.GAPS


def _moment(started_at: datetime, minute: float) -> datetime:
    return to_utc(started_at) + timedelta(seconds=round(minute * 60))
