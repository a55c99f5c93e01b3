"""When something that cures or dries is done: between which moments, and how that is known.

The rate says how much quicker than at its reference something goes, so its integral counts minutes
at the reference. A course of the air is cut into pieces, for each of which the integral and its
inverse are known in closed form.
"""

import math
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from enum import StrEnum
from itertools import takewhile
from typing import Protocol

from jobs.work.calc.air.series import (
    AirState,
    Reading,
    Step,
    Stretch,
    ahead_of,
    bounds_beside,
    gap_ahead,
    steps_of,
)
from jobs.work.calc.instants import minutes_between, to_utc

# What is not done so long after the last reading has no end that anybody can tell: our own figure.
LONGEST_WAIT_MINUTES = 14 * 24 * 60.0
# Something that takes weeks anyway is given longer.
_LONGEST_IN_REFERENCES = 4
_PERCENT, _SECONDS = 100, 60
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

    `pieces` makes of a stretch and the air at its two ends what is integrated; `rate` says how
    quickly it goes in steady air. `damp`: the humidity matters to it, too.
    """

    needed: float
    pieces: Callable[[Stretch, tuple[AirState, AirState]], Iterable["Piece"]]
    rate: Callable[[AirState], float]
    why_halted: Halted
    damp: bool


@dataclass(frozen=True, slots=True)
class Summed:
    """What was done by the instant of a reading, minutes at the reference, at least and at most.

    From such an instant on, the course goes by that reading and later ones alone, so the sum of a
    clock that has run for long goes on from there without any from before.
    """

    at: datetime
    least: float
    most: float
    # The least seconds between both ends until then; None: it was halted all the time.
    width: int | None = None


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


@dataclass(frozen=True, slots=True)
class _Done:
    """Minutes at the reference that are done, and the minute by which all are; None: not yet."""

    amount: float
    minute: float | None = None


@dataclass(frozen=True, slots=True)
class _Known:
    """What is done by the last reading of a step, at the slowest and at the fastest."""

    step: Step
    slow: _Done
    fast: _Done


@dataclass(frozen=True, slots=True)
class _Followed:
    """A course up to its last reading, and what was known with each instant's readings."""

    course: Sequence[Stretch]
    known: Sequence[_Known]


def estimate_of(
    process: Process,
    readings: Iterable[Reading],
    *,
    started_at: datetime,
    at: datetime,
    summed: Summed | None = None,
) -> Estimate:
    """Return the estimate from the slowest and the fastest that it may go.

    No reading makes the interval wider than it was with those before it alone: where one would,
    being colder or damper than was assumed, the early end is put later, and the late end stays.
    Both are rounded to a second, the same way. What is not done by the longest wait after the last
    reading is halted and has no end: whoever looks ahead further, only guesses. `summed`: what was
    done of it by then, which the readings go on from. Raises ValueError for a time without a time
    zone.
    """
    begins = summed or Summed(started_at, 0.0, 0.0)
    followed = _follow(process, readings, begins)
    last = followed.known[-1]
    course = [*followed.course, *ahead_of(last.step, longest_wait(process.needed))]
    late, early = _ends(process, last)
    if late is None and _stands_still(process, course):
        early = None
    exact = late == early
    if late is not None and early is not None and not exact:
        before = _least_width(process, followed.known[:-1], summed)
        early = max(early, late - before) if before is not None else early
    latest = _moment(begins.at, late)
    if latest is not None and to_utc(at) >= latest:
        percent = _PERCENT
    else:
        done = begins.least + done_by(_slow(process, course), minutes_between(begins.at, at))
        percent = min(int(_PERCENT * done / max(process.needed, 1)), _PERCENT - 1)
    return Estimate(
        earliest_at=_moment(begins.at, early),
        latest_at=latest,
        progress_percent=percent,
        basis=_basis(course, late, exact=exact),
        halted=process.why_halted if late is None else Halted.NO,
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
    begins = summed or Summed(started_at, 0.0, 0.0)
    followed = _follow(process, readings, begins)
    minute = minutes_between(begins.at, by)
    so_far = [tally for tally in followed.known if tally.step.minute <= minute]
    return Summed(
        by,
        begins.least + done_by(_slow(process, followed.course), minute),
        begins.most + done_by(_fast(process, followed.course), minute),
        _least_width(process, so_far, summed),
    )


def _follow(process: Process, readings: Iterable[Reading], begins: Summed) -> _Followed:
    """Sum up from reading to reading until it is done, whatever is read later."""
    for_good: list[Stretch] = []
    since: list[Stretch] = []
    known: list[_Known] = []
    least, most = (_reached(amount, process.needed) for amount in (begins.least, begins.most))
    here = sure = _Known(Step(-math.inf), least, most)
    for step in steps_of(readings, begins.at, damp=process.damp):
        known += [_known(process, part, sure if part.anew else here) for part in step.fewer]
        here = _known(process, step, sure if step.anew else here)
        known.append(here)
        if step.anew:
            for_good += step.behind
            since, sure = [], here
        else:
            since += step.behind
        if sure.slow.minute is not None:
            break
    return _Followed([*for_good, *since], known)


def _known(process: Process, step: Step, before: _Known) -> _Known:
    """Return what is done by a step, with what was done before what lies behind it."""
    slow = _on(before.slow, _slow(process, step.behind), process.needed)
    fast = _on(before.fast, _fast(process, step.behind), process.needed)
    return _Known(step, slow, fast)


def _reached(amount: float, needed: float) -> _Done:
    return _Done(amount, 0.0 if amount >= needed else None)


def _on(done: _Done, pieces: Iterable[Piece], needed: float) -> _Done:
    """Return what is done with some pieces more."""
    amount = done.amount
    if done.minute is not None:
        return done
    for piece in pieces:
        start = max(piece.starts, 0.0)
        if start >= piece.ends:
            continue
        here, left = piece.done(start, piece.ends), needed - amount
        if here >= left:
            return _Done(needed, min(max(piece.minute_when(left, start), start), piece.ends))
        amount += here
    return _Done(amount)


def _ends(process: Process, known: _Known) -> tuple[int | None, int | None]:
    """Return the late and the early end by what is known, in whole seconds; None: no end."""
    slow, fast = bounds_beside(known.step.beside)
    last = known.step.last
    late = _end(process, known.step, known.slow, None if last is None else last.slow, slow)
    early = _end(process, known.step, known.fast, None if last is None else last.fast, fast)
    return (
        None if late is None else round(late * _SECONDS),
        None if early is None else round(early * _SECONDS),
    )


def _end(
    process: Process, step: Step, done: _Done, held: AirState | None, then: AirState
) -> float | None:
    """Return the minute of an end after a step: the air it holds, and then that of the gap."""
    if done.minute is not None:
        return done.minute
    begins, ends = gap_ahead(step, longest_wait(process.needed))
    left, begins = process.needed - done.amount, max(begins, 0.0)
    if held is not None and step.last is not None:
        start = max(step.last.minute, 0.0)
        rate = process.rate(held)
        if rate * (begins - start) >= left:
            return start + left / rate
        left -= rate * (begins - start)
    rate = process.rate(then)
    return begins + left / rate if rate * (ends - begins) >= left else None


def _least_width(process: Process, known: Sequence[_Known], summed: Summed | None) -> int | None:
    """Return the least seconds between both ends that there were with each reading that came.

    None: it was halted all the time. Of a sum that goes on, what was before it comes with it.
    """
    least = None if summed is None else summed.width
    for tally in reversed(known):
        if least == 0 or (summed is not None and tally.step.minute < 0):
            break
        late, early = _ends(process, tally)
        if late is not None and early is not None:
            least = late - early if least is None else min(least, late - early)
    return least


def _slow(process: Process, course: Iterable[Stretch]) -> Iterator[Piece]:
    return (piece for stretch in course for piece in process.pieces(stretch, stretch.slow))


def _fast(process: Process, course: Iterable[Stretch]) -> Iterator[Piece]:
    return (piece for stretch in course for piece in process.pieces(stretch, stretch.fast))


def _stands_still(process: Process, course: Iterable[Stretch]) -> bool:
    """Return whether nothing goes on in the air that was measured last in its time."""
    last = None
    for stretch in course:
        if stretch.measured and stretch.ends > 0:
            last = stretch
    if last is None:
        return False
    pieces = process.pieces(last, (last.fast[1], last.fast[1]))
    return not any(piece.done(piece.starts, piece.ends) for piece in pieces)


def _basis(course: Iterable[Stretch], late: int | None, *, exact: bool) -> Basis:
    """Return what the ends rest on, by the stretches that count until the latest of them."""
    until = math.inf if late is None else max(late / _SECONDS, 1e-9)
    counted = takewhile(lambda stretch: stretch.starts < until, course)
    if not any(stretch.known and stretch.ends > 0 for stretch in counted):
        return Basis.NOT_MEASURED
    return Basis.MEASURED if exact else Basis.GAPS


def _moment(started_at: datetime, seconds: int | None) -> datetime | None:
    return None if seconds is None else to_utc(started_at) + timedelta(seconds=seconds)
