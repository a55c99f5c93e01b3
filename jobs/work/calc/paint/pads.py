"""How much paint there is on a vehicle, and the pads and compound that polishing it takes.

Areas are invented but plausible square metres for a vehicle of each size; pads and compound are
common practice, no source. One check value there is: a small van in single-stage paint loads
about ten pads, because the pigment that comes off clogs them.
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

from jobs.work.calc.car.areas import PANELS
from jobs.work.calc.paint.system import PaintSystem

DEFAULT_SIZE = "medium"
_CAR: Mapping[str, float] = {
    "bonnet": 1.3,
    "roof": 1.7,
    "tailgate": 0.9,
    "front_bumper": 0.8,
    "rear_bumper": 0.8,
    "left_front_wing": 0.5,
    "left_front_door": 0.8,
    "left_rear_door": 0.7,
    "left_quarter_panel": 0.8,
    "left_sill": 0.2,
    "left_roof_rail": 0.15,
    "left_door_mirror": 0.05,
}
_SMALL_VAN: Mapping[str, float] = {
    "bonnet": 1.1,
    "roof": 3.4,
    "front_bumper": 0.8,
    "rear_bumper": 0.4,
    "left_front_wing": 0.5,
    "left_front_door": 0.9,
    "left_rear_door": 1.3,
    "left_quarter_panel": 1.4,
    "left_sill": 0.2,
    "left_roof_rail": 0.2,
    "left_load_door": 0.7,
    "left_door_mirror": 0.05,
}


def _both_sides(panels: Mapping[str, float], times: float) -> Mapping[str, float]:
    """Return the areas with the right side added, all of them larger or smaller by a factor."""
    areas = {code: area * times for code, area in panels.items()}
    areas |= {PANELS[code].twin: area for code, area in areas.items() if PANELS[code].twin}
    return MappingProxyType(areas)


AREAS_BY_SIZE: Mapping[str, Mapping[str, float]] = MappingProxyType(
    {
        "small": _both_sides(_CAR, 0.85),
        "medium": _both_sides(_CAR, 1.0),
        "large": _both_sides(_CAR, 1.25),
        "small_van": _both_sides(_SMALL_VAN, 1.0),
        "large_van": _both_sides(_SMALL_VAN, 1.7),
    }
)
PADS_PER_SQUARE_METRE = MappingProxyType(
    {PaintSystem.SINGLE_STAGE: 0.6, PaintSystem.CLEAR_OVER_BASE: 0.25, PaintSystem.UNSURE: 0.6}
)
COMPOUND_MILLILITRES_PER_SQUARE_METRE = MappingProxyType(
    {PaintSystem.SINGLE_STAGE: 20.0, PaintSystem.CLEAR_OVER_BASE: 12.0, PaintSystem.UNSURE: 20.0}
)
LEAST_PADS = 2  # one to cut, one to finish


@dataclass(frozen=True, slots=True)
class Supplies:
    """What to have at hand for one machine polish of an area."""

    square_metres: float
    pads: int
    compound_millilitres: float


def areas_of(body_size: str) -> Mapping[str, float]:
    """Return square metres by panel for a body size; of a medium car where none is given.

    Raises KeyError for a size that is none of AREAS_BY_SIZE.
    """
    return AREAS_BY_SIZE[body_size or DEFAULT_SIZE]


def supplies_for(square_metres: float, system: PaintSystem) -> Supplies:
    """Return pads and compound for an area; where the system is unsure, as for single-stage."""
    pads = math.ceil(square_metres * PADS_PER_SQUARE_METRE[system])
    return Supplies(
        square_metres=square_metres,
        pads=max(LEAST_PADS, pads) if square_metres > 0 else 0,
        compound_millilitres=square_metres * COMPOUND_MILLILITRES_PER_SQUARE_METRE[system],
    )
