"""How long a seat or carpet dries after wet extraction: by what the air still takes up.

The rate is Carrier's evaporation beside that of the reference air (15 °C, 60 %, still). It only
advises: how wet the seat was and how thick it is, nobody measured, so a person feels it.
"""

import math
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum

from jobs.work.calc.air.climate import STILL_AIR, evaporation
from jobs.work.calc.air.series import AirState, Reading, Stretch
from jobs.work.calc.curing.estimate import (
    NO_CREDIT_ABOVE_CELSIUS,
    Estimate,
    Halted,
    Process,
    Summed,
    estimate_of,
)

# The air that the minutes are told for: our own choice.
REFERENCE = AirState(15.0, 60.0)


class Air(StrEnum):
    """How the air moves over what dries; the speeds are plausible: common practice, no source."""

    STILL = "still"
    FAN = "fan"
    BLOWER = "blower"

    @property
    def metres_per_second(self) -> float:
        """How fast the air moves."""
        return _SPEEDS[self]


_SPEEDS = {Air.STILL: STILL_AIR, Air.FAN: 1.0, Air.BLOWER: 3.0}


@dataclass(frozen=True, slots=True)
class Drying:
    """What dries: minutes in the reference air (15 °C, 60 %, still), and how the air moves here.

    Raises ValueError for minutes below 0.
    """

    reference_minutes: int
    air: Air = Air.STILL

    def __post_init__(self) -> None:
        if self.reference_minutes < 0:
            raise ValueError("Drying takes 0 minutes or more.")

    def rate(self, air: AirState) -> float:
        """Return how quickly it dries beside the reference, as a ratio of evaporations.

        Air warmer than 25 °C is given the credit of 25 °C at its humidity. Raises ValueError for a
        humidity outside 0 to 100 %.
        """
        celsius = min(air.celsius, NO_CREDIT_ABOVE_CELSIUS)
        here = evaporation(celsius, air.humidity_percent, self.air.metres_per_second)
        return here / evaporation(REFERENCE.celsius, REFERENCE.humidity_percent)


@dataclass(frozen=True, slots=True)
class DryingPiece:
    """Drying while the rate changes linearly: the integral is a trapezoid.

    Turned round it is a quadratic, whose root 2 y / (r + sqrt(r² + 2 s y)) needs no case for an
    even rate. Rates linear between readings are our own choice: temperature and humidity linear
    would give an integral without a closed form, and nobody knows how the air went between.
    """

    starts: float
    ends: float
    first: float
    last: float

    def done(self, start: float, end: float) -> float:
        """Return the minutes at the reference that a span within the piece is worth."""
        return (self._rate(start) + self._rate(end)) / 2 * (end - start)

    def minute_when(self, amount: float, start: float) -> float:
        """Return the minute by which so much is done since `start`; it is known to be in here."""
        rate = self._rate(start)
        under_root = max(rate**2 + 2 * self._slope * amount, 0.0)
        return start + 2 * amount / (rate + math.sqrt(under_root))

    @property
    def _slope(self) -> float:
        return (self.last - self.first) / (self.ends - self.starts)

    def _rate(self, minute: float) -> float:
        return self.first + self._slope * (minute - self.starts)


def drying_process(drying: Drying) -> Process:
    """Return the drying as the sums take it."""

    def pieces(stretch: Stretch, air: tuple[AirState, AirState]) -> Iterable[DryingPiece]:
        first, last = (drying.rate(state) for state in air)
        return [DryingPiece(stretch.starts, stretch.ends, first, last)]

    return Process(drying.reference_minutes, pieces, drying.rate, Halted.TOO_DAMP, damp=True)


def drying_estimate(
    drying: Drying,
    readings: Iterable[Reading],
    *,
    started_at: datetime,
    at: datetime,
    summed: Summed | None = None,
) -> Estimate:
    """Return between which moments it is dry by the sums, and how much for certain at `at`.

    As `cure_estimate`, by temperature and humidity. Where nobody measured the humidity the air is
    taken to have 60 %, or what the readings beside that time say, if that is damper or drier. What
    is not dry in 14 days after the last reading is halted, too damp, and has no end. Raises
    ValueError for a time without a time zone, and for a humidity outside 0 to 100 %.
    """
    process = drying_process(drying)
    return estimate_of(process, readings, started_at=started_at, at=at, summed=summed)
