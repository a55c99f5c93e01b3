"""How long a dressing, a sealant or a coat cures: quicker when warm, not at all when cold.

The rate is q10 ** ((T - reference) / 10), the rule that ASTM F1980 ages packaging by with
q10 = 2; it is no standard for coatings, and the product's own sheet outranks it. It is 0 below the
lowest temperature, and grows no more above the highest that is given credit. What is done is the
integral of the rate; a product is done when that is as long as the minutes it takes at its
reference temperature.
"""

import math
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import datetime
from itertools import pairwise

from jobs.work.calc.air.series import AirState, Reading, Stretch, samples_of
from jobs.work.calc.curing.estimate import (
    NO_CREDIT_ABOVE_CELSIUS,
    Basis,
    Estimate,
    Halted,
    Process,
    Summed,
    done_by,
    estimate_of,
)
from jobs.work.calc.instants import minutes_between

__all__ = [
    "Basis",
    "Cure",
    "Estimate",
    "Halted",
    "Reading",
    "Summed",
    "cure_estimate",
    "cure_process",
    "progress",
]


@dataclass(frozen=True, slots=True)
class Cure:
    """How a product cures, from its sheet: minutes at a temperature, and what others change.

    `q10`: by how much 10 K more speeds it up, at least 1. `highest_celsius`: warmth beyond it is
    given no credit; None: 25 °C, or the reference where that is above. Raises ValueError for a q10
    under 1, minutes below 0, or a highest temperature below the reference.
    """

    reference_minutes: float
    reference_celsius: float = 15.0
    q10: float = 2.0
    lowest_celsius: float = 5.0
    highest_celsius: float | None = None

    def __post_init__(self) -> None:
        if self.reference_minutes < 0 or self.q10 < 1:
            raise ValueError("A cure takes 0 minutes or more, and warmth does not slow it down.")
        if self.ceiling_celsius < self.reference_celsius:
            raise ValueError("The temperature that its minutes are told for is given credit.")

    @property
    def ceiling_celsius(self) -> float:
        """Return the temperature above which it cures no quicker."""
        if self.highest_celsius is not None:
            return self.highest_celsius
        return max(NO_CREDIT_ABOVE_CELSIUS, self.reference_celsius)

    def rate(self, celsius: float) -> float:
        """Return how quickly it cures beside the reference: 1 there, 0 below the lowest."""
        if celsius < self.lowest_celsius:
            return 0.0
        credited = min(celsius, self.ceiling_celsius)
        return float(self.q10 ** ((credited - self.reference_celsius) / 10))


@dataclass(frozen=True, slots=True)
class CurePiece:
    """The cure while the temperature changes linearly from `first` to `last`, °C.

    With T = first + s (t - starts) and k = ln(q10) / 10 the integral of exp(k (T - reference))
    from a to b is r(a) (b - a) expm1(x) / x, x = k s (b - a); turned round for the time that an
    amount y takes, ln(1 + y k s / r(a)) / (k s). Where T crosses the lowest temperature only the
    side above it counts.
    """

    starts: float
    ends: float
    first: float
    last: float
    cure: Cure

    def done(self, start: float, end: float) -> float:
        """Return the minutes at the reference that a span within the piece is worth."""
        start, end = self._warm(start, end)
        if start >= end:
            return 0.0
        exponent = self._log_growth * (end - start)
        mean_rate = self._rate(start) * (math.expm1(exponent) / exponent if exponent else 1.0)
        return mean_rate * (end - start)

    def minute_when(self, amount: float, start: float) -> float:
        """Return the minute by which so much is done since `start`; it is known to be in here."""
        start, end = self._warm(start, self.ends)
        plain = amount / self._rate(start)
        growth = self._log_growth
        inside = growth * plain
        if inside <= -1:  # a rounding beyond the end of a piece that gets colder
            return end
        return start + (math.log1p(inside) / growth if growth else plain)

    @property
    def _slope(self) -> float:
        return (self.last - self.first) / (self.ends - self.starts)

    @property
    def _log_growth(self) -> float:
        return math.log(self.cure.q10) / 10 * self._slope

    def _rate(self, minute: float) -> float:
        """Return the rate on the side that counts, where rounding may have crossed the limit."""
        celsius = self.first + self._slope * (minute - self.starts)
        return self.cure.rate(max(celsius, self.cure.lowest_celsius))

    def _warm(self, start: float, end: float) -> tuple[float, float]:
        """Return the part of a span in which it is warm enough; an empty one has no length."""
        lowest, slope = self.cure.lowest_celsius, self._slope
        if min(self.first, self.last) >= lowest:
            return start, end
        if max(self.first, self.last) < lowest:
            return start, start
        crossing = self.starts + (lowest - self.first) / slope
        return (max(start, crossing), end) if slope > 0 else (start, min(end, crossing))


def pieces_of(
    cure: Cure, starts: float, ends: float, first: float, last: float
) -> Iterator[CurePiece]:
    """Yield the pieces of a stretch over which the temperature, °C, changes linearly.

    It is cut where it crosses the highest temperature that is given credit, and held there.
    """
    ceiling = cure.ceiling_celsius
    cuts = [(starts, first), (ends, last)]
    if min(first, last) < ceiling < max(first, last):
        crossing = starts + (ends - starts) * (ceiling - first) / (last - first)
        if starts < crossing < ends:
            cuts.insert(1, (crossing, ceiling))
    for (begin, warm), (end, then) in pairwise(cuts):
        yield CurePiece(begin, end, min(warm, ceiling), min(then, ceiling), cure)


def progress(cure: Cure, readings: Iterable[Reading], start: datetime, end: datetime) -> float:
    """Return what is done between two moments, 1 being done, by the bare integral.

    The temperature is linear between readings however far apart, and the first and last hold
    beyond. A product that need not cure is done. Raises ValueError where there is no reading, and
    for a time without a time zone.
    """
    samples = list(samples_of(readings, start))
    if not samples:
        raise ValueError("There is no integral without a reading.")
    if not cure.reference_minutes:
        return 1.0
    until = minutes_between(start, end)
    first, last = samples[0], samples[-1]
    spans = [
        (earlier.minute, later.minute, earlier.celsius, later.celsius)
        for earlier, later in pairwise(samples)
    ]
    if first.minute > 0:
        spans.insert(0, (0.0, first.minute, first.celsius, first.celsius))
    if last.minute < until:
        spans.append((last.minute, until, last.celsius, last.celsius))
    pieces = (piece for span in spans for piece in pieces_of(cure, *span))
    return done_by(pieces, until) / cure.reference_minutes


def cure_process(cure: Cure) -> Process:
    """Return the cure as the sums take it."""

    def pieces(stretch: Stretch, air: tuple[AirState, AirState]) -> Iterable[CurePiece]:
        return pieces_of(cure, stretch.starts, stretch.ends, air[0].celsius, air[1].celsius)

    return Process(
        cure.reference_minutes,
        pieces,
        lambda air: cure.rate(air.celsius),
        Halted.TOO_COLD,
        damp=False,
    )


def cure_estimate(
    cure: Cure,
    readings: Iterable[Reading],
    *,
    started_at: datetime,
    at: datetime,
    summed: Summed | None = None,
) -> Estimate:
    """Return between which moments it is done, and how much is done for certain at `at`.

    Readings before and after `at` count alike, so that a move made on a device hours ago is judged
    by all that is known. Where nobody measured, the workshop is taken to have 15 °C at the latest
    and 20 °C at the earliest, or what the readings beside that time say, if that is colder or
    warmer: cold that was measured counts until somebody measures again. No reading makes the
    interval wider than it was with those before it: the early end is put later instead. What is not
    done in 14 days after the last reading is halted, too cold, and has no end. Raises ValueError
    for a time without a time zone.
    """
    return estimate_of(cure_process(cure), readings, started_at=started_at, at=at, summed=summed)
