"""The air: dew point, what it still takes up, frost, and when a surface is fit to be coated.

Temperatures in °C, relative humidity in per cent over water, pressures in pascals.
"""

import math
from dataclasses import dataclass
from enum import StrEnum

# Magnus' formula over water, WMO Guide to Instruments and Methods of Observation (WMO-No. 8),
# annex on formulae for humidity; made for -45 to 60 °C.
_MAGNUS_PASCALS = 611.2
_MAGNUS_FACTOR = 17.62
_MAGNUS_CELSIUS = 243.12
# No gauge in a workshop tells less than this apart, and 0 % has no dew point at all.
_DRIEST_PERCENT = 1.0

# Carrier's formula for water into moving air, W/m² per pascal and per pascal and m/s, as quoted in
# ASHRAE Transactions 1998, paper 4146.
_CARRIER_STILL = 0.089
_CARRIER_MOVING = 0.0782
# What evaporating takes, J/g: vapour 2501 + 1.86 t less water 4.186 t, the figures of the enthalpy
# of moist air in the ASHRAE Handbook of Fundamentals (from memory).
_LATENT_AT_ZERO = 2501.0
_LATENT_PER_DEGREE = 1.86 - 4.186
_SECONDS_PER_HOUR = 3600.0
# Air in a closed room, m/s.
STILL_AIR = 0.1

# Attributed to ISO 8502-4, which was written for coating steel: a caution, not a rule.
LEAST_MARGIN_KELVIN = 3.0
# Nobody reads more of a temperature than this.
_MOST_DIGITS = 7

# A surface under a clear sky gets colder than the air by about this: common practice, no source.
SKY_COOLS_KELVIN = 4.0
# Up to here moist air makes frost likely on such a surface: our own figure.
_FROST_LIKELY_CELSIUS = 2.0


class Frost(StrEnum):
    """How far frost has to be reckoned with on a car outside."""

    NONE = "none"
    POSSIBLE = "possible"
    LIKELY = "likely"


@dataclass(frozen=True, slots=True)
class Caution:
    """What to look at before a product goes onto a surface; the product's sheet outranks it."""

    code: str
    text: str


def saturation_pressure(celsius: float) -> float:
    """Return the pressure of vapour over water, Pa: 611.2 exp(17.62 t / (243.12 + t)).

    Magnus' formula in the WMO Guide No. 8, made for -45 to 60 °C; below zero over water not yet
    frozen, as relative humidity is reckoned there too.
    """
    return _MAGNUS_PASCALS * math.exp(_MAGNUS_FACTOR * celsius / (_MAGNUS_CELSIUS + celsius))


def dew_point(celsius: float, humidity_percent: float) -> float:
    """Return the temperature, °C, at which water begins to settle from this air.

    The WMO Guide's formula turned round: with g = ln(RH / 100) + 17.62 t / (243.12 + t) it is
    243.12 g / (17.62 - g). Humidity under 1 % counts as 1 %. Raises ValueError outside 0 to 100 %.
    """
    share = max(_share(humidity_percent), _DRIEST_PERCENT / 100)
    magnus = math.log(share) + _MAGNUS_FACTOR * celsius / (_MAGNUS_CELSIUS + celsius)
    return _MAGNUS_CELSIUS * magnus / (_MAGNUS_FACTOR - magnus)


def vapour_pressure_deficit(celsius: float, humidity_percent: float) -> float:
    """Return how much vapour the air still takes up, Pa: saturation pressure x (1 - RH / 100).

    Raises ValueError outside 0 to 100 %.
    """
    return saturation_pressure(celsius) * (1 - _share(humidity_percent))


def surface_margin(
    air_celsius: float, humidity_percent: float, surface_celsius: float | None = None
) -> float:
    """Return by how many kelvins a surface lies above the dew point; below zero it gets wet.

    A surface that nobody measured is taken to be as warm as the air. Raises ValueError for a
    humidity outside 0 to 100 %.
    """
    surface = air_celsius if surface_celsius is None else surface_celsius
    return surface - dew_point(air_celsius, humidity_percent)


def evaporation(
    celsius: float, humidity_percent: float, metres_per_second: float = STILL_AIR
) -> float:
    """Return the water that leaves a wet surface as warm as the air, g/m²h.

    Carrier's w = (0.089 + 0.0782 v)(p_w - p_a) / h_fg, v in m/s, pressures in Pa, h_fg in J/g, as
    quoted in ASHRAE Transactions 1998, paper 4146, for open water: for a wet seat only the ratio
    of two values means anything. Raises ValueError for a humidity outside 0 to 100 %.
    """
    watts = _CARRIER_STILL + _CARRIER_MOVING * metres_per_second
    watts *= vapour_pressure_deficit(celsius, humidity_percent)
    return _SECONDS_PER_HOUR * watts / (_LATENT_AT_ZERO + _LATENT_PER_DEGREE * celsius)


def frost_risk(celsius: float, humidity_percent: float | None) -> Frost:
    """Return whether frost has to be reckoned with on a car in such air.

    Likely at 0 °C and below, and up to 2 °C where the air is so moist that a surface colder than
    it by 4 K, as under a clear sky, lies at or under the dew point; possible up to 4 °C. The
    figures are common practice, no source. Raises ValueError for a humidity outside 0 to 100 %,
    where it decides.
    """
    if celsius <= 0:
        return Frost.LIKELY
    if celsius > SKY_COOLS_KELVIN:
        return Frost.NONE
    if humidity_percent is None or celsius > _FROST_LIKELY_CELSIUS:
        return Frost.POSSIBLE
    moist = surface_margin(celsius, humidity_percent) <= SKY_COOLS_KELVIN
    return Frost.LIKELY if moist else Frost.POSSIBLE


def coating_cautions(
    *,
    air_celsius: float,
    humidity_percent: float | None,
    surface_celsius: float | None,
    apply_from_celsius: float,
) -> list[Caution]:
    """Return what speaks against putting a product on now; an empty list: nothing that we know.

    `near_dew_point`: the surface is less than 3 K above the dew point (attributed to ISO 8502-4,
    written for steel; left out where humidity is not known). `too_cold`: it is colder than
    `apply_from_celsius`, from the product's sheet. A surface not measured is taken as the air.
    """
    surface = air_celsius if surface_celsius is None else surface_celsius
    name = "air (nobody measured the surface)" if surface_celsius is None else "surface"
    cautions = []
    if humidity_percent is not None:
        dew = dew_point(air_celsius, humidity_percent)
        if surface - dew < LEAST_MARGIN_KELVIN:
            here, point = told_apart(surface, dew, LEAST_MARGIN_KELVIN)
            text = (
                f"The {name} has {here} °C and the dew point is {point} °C: keep at "
                f"least {LEAST_MARGIN_KELVIN:.0f} °C above it, or moisture may settle under the "
                "coat. Warm the surface or dry the air first."
            )
            cautions.append(Caution("near_dew_point", text))
    if surface < apply_from_celsius:
        here, wanted = told_apart(surface, apply_from_celsius)
        text = (
            f"The {name} has {here} °C; the product wants {wanted} °C or "
            "more. Warm the workshop and the panel first; the product's data sheet decides."
        )
        cautions.append(Caution("too_cold", text))
    return cautions


def told_apart(smaller: float, bound: float, by: float = 0.0) -> tuple[str, str]:
    """Return two figures in words, the first less than `by` above the second even when rounded.

    To a tenth, or as much closer as it takes: "has 5.0 °C; wants 5.0 °C" would tell nobody why.
    """
    for digits in range(1, _MOST_DIGITS):
        words = f"{smaller:.{digits}f}", f"{bound:.{digits}f}"
        if round(float(words[0]) - float(words[1]) - by, digits + 1) < 0:
            return words
    return str(smaller), str(bound)


def _share(humidity_percent: float) -> float:
    if not 0 <= humidity_percent <= 100:  # noqa: PLR2004  # what per cent means
        raise ValueError(f"Relative humidity runs from 0 to 100 %, not {humidity_percent}.")
    return humidity_percent / 100
