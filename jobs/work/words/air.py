"""The air of one place in plain words: how wet, how things dry in it, whether frost is near."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from jobs.work.calc.air.climate import (
    LEAST_MARGIN_KELVIN,
    Caution,
    Frost,
    coating_cautions,
    dew_point,
    evaporation,
    frost_risk,
    surface_margin,
    vapour_pressure_deficit,
)
from jobs.work.calc.air.doubts import REPEATED
from jobs.work.models import ClimateReading
from jobs.work.models.air import Place

# The clocks take a reading as measured air for so long (calc.cure).
HOLDS = timedelta(hours=2)
# The air that drying times are told for (calc.drying), and how much faster or slower than in it
# counts as well or slowly: our own words.
REFERENCE_CELSIUS, REFERENCE_PERCENT = 15.0, 60.0
DRYING_WORDS = (
    (1.5, "dries well"),
    (0.75, "dries as usual"),
    (0.3, "dries slowly"),
    (0.0, "hardly dries"),
)
FROST_WORDS = {
    Frost.NONE: "no frost to be reckoned with",
    Frost.POSSIBLE: "frost is possible",
    Frost.LIKELY: "frost is likely",
}
PLACES = {Place.WORKSHOP.value: "In the workshop", Place.OUTSIDE.value: "Outside"}


@dataclass(frozen=True, slots=True)
class AirNow:
    """What was measured last at one place, and what it means."""

    reading: ClimateReading
    at: datetime

    @property
    def by(self) -> str:
        """Return who or what measured it."""
        sensor = self.reading.sensor
        return f"the sensor “{sensor}”" if sensor else f"{self.reading.actor}, by hand"

    @property
    def old(self) -> bool:
        """Return whether the clocks no longer take it as the air there is."""
        return self.at - self.reading.at > HOLDS

    @property
    def repeats(self) -> str:
        """Return that a stuck sensor said it and what of it counts, or nothing."""
        return f"{REPEATED} Clocks go by its cold and damp only." if self.reading.is_stuck else ""

    @property
    def frost(self) -> str:
        """Return in words how near frost is."""
        return FROST_WORDS[self.frost_risk]

    @property
    def frost_risk(self) -> Frost:
        """Return how near frost is."""
        return frost_risk(self.reading.celsius, self.reading.humidity_percent)

    @property
    def wet(self) -> "Wetness | None":
        """Return what the humidity means; None where nobody measured it."""
        reading = self.reading
        if reading.humidity_percent is None:
            return None
        return wetness(reading.celsius, reading.humidity_percent, reading.surface_celsius)

    @property
    def cautions(self) -> Sequence[Caution]:
        """Return what speaks against coating in this air, whatever the product."""
        reading = self.reading
        if reading.place != Place.WORKSHOP or self.old:
            return ()
        return coating_cautions(
            air_celsius=reading.celsius,
            humidity_percent=reading.humidity_percent,
            surface_celsius=reading.surface_celsius,
            apply_from_celsius=float("-inf"),
        )


@dataclass(frozen=True, slots=True)
class Wetness:
    """What the water in the air means.

    Dew point in °C, margin above it in kelvins, deficit in Pa, and how fast things dry as a
    multiple of what they do in the reference air.
    """

    dew_point: float
    margin: float
    of_surface: bool
    deficit: int
    times: float

    @property
    def near(self) -> bool:
        """Return whether a surface is too near the dew point to be coated."""
        return self.margin < LEAST_MARGIN_KELVIN

    @property
    def words(self) -> str:
        """Return in words how things dry."""
        return next(words for least, words in DRYING_WORDS if self.times >= least)


def wetness(celsius: float, percent: float, surface: float | None) -> Wetness:
    """Return what a temperature and a humidity mean, beside a surface where one was measured."""
    reference = evaporation(REFERENCE_CELSIUS, REFERENCE_PERCENT)
    return Wetness(
        dew_point=dew_point(celsius, percent),
        margin=surface_margin(celsius, percent, surface),
        of_surface=surface is not None,
        deficit=round(vapour_pressure_deficit(celsius, percent)),
        times=evaporation(celsius, percent) / reference,
    )
