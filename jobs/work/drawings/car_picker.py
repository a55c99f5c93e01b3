"""The car to be tapped: seen from above with its sides folded out, drawn as cells of a grid.

Every cell is a thumb wide, so that a finger in a wet glove finds it on a telephone too. The front
is at the top; left and right are as from the driver's seat. Our own drawing. What cannot be drawn
from outside is offered in words, by group.
"""

from dataclasses import dataclass
from types import MappingProxyType

from jobs.work.calc.car.areas import AREAS, Area, Group
from jobs.work.calc.findings import FindingKind

# The grid in half cells: 14 across are 7 thumbs of 48 pixels, the width of a small telephone.
COLUMNS, ROWS = 14, 22
THUMB = 2


@dataclass(frozen=True, slots=True)
class Cell:
    """One area on the drawing: its place and size in half cells, from 1; a short word on it."""

    area: str
    word: str
    column: int
    row: int
    width: int
    height: int

    @property
    def name(self) -> str:
        """Return the area's name. Raises KeyError for a code that no area has."""
        return AREAS[self.area].name

    @property
    def group(self) -> Group:
        """Return the area's group. Raises KeyError for a code that no area has."""
        return AREAS[self.area].group


def _both(stem: str, word: str, *place: int) -> tuple[Cell, Cell]:
    """Return the cell of the left side, placed as a Cell is, and its mirror image."""
    column, row, width, height = place
    mirrored = COLUMNS + 2 - column - width
    return (
        Cell(f"left_{stem}", word, column, row, width, height),
        Cell(f"right_{stem}", word, mirrored, row, width, height),
    )


CELLS = (
    *_both("headlamp", "lamp", 3, 1, 2, 2),
    Cell("front_bumper", "bumper", 5, 1, 6, 2),
    *_both("front_wheel", "wheel", 1, 3, 2, 4),
    *_both("front_wing", "wing", 3, 3, 2, 4),
    Cell("bonnet", "bonnet", 5, 3, 6, 4),
    *_both("door_mirror", "mirror", 3, 7, 2, 2),
    Cell("windscreen", "windscreen", 5, 7, 6, 2),
    *_both("sill", "sill", 1, 7, 2, 10),
    *_both("front_door", "door", 3, 9, 2, 4),
    *_both("front_window", "glass", 5, 9, 2, 2),
    *_both("roof_rail", "rail", 5, 11, 2, 2),
    Cell("roof_window", "glass", 7, 9, 2, 2),
    Cell("roof", "roof", 7, 11, 2, 4),
    *_both("rear_door", "door", 3, 13, 2, 4),
    *_both("rear_side_window", "glass", 5, 13, 2, 2),
    Cell("rear_window", "rear window", 5, 15, 6, 2),
    *_both("rear_wheel", "wheel", 1, 17, 2, 4),
    *_both("quarter_panel", "quarter", 3, 17, 2, 4),
    Cell("tailgate", "tailgate, boot", 5, 17, 6, 2),
    *_both("load_door", "load door", 5, 19, 3, 2),
    *_both("tail_lamp", "lamp", 3, 21, 2, 2),
    Cell("rear_bumper", "bumper", 5, 21, 6, 2),
)
_DRAWN = frozenset(cell.area for cell in CELLS)

# Which kinds of finding are met where most; the phrases of these kinds are offered first.
KINDS_FIRST = MappingProxyType(
    {
        Group.BODY: (FindingKind.BODY_AND_PAINT, FindingKind.PROVENANCE),
        Group.GLASS: (FindingKind.GLASS_AND_LIGHTS,),
        Group.WHEELS: (FindingKind.WHEELS_AND_TYRES,),
        Group.INSIDE: (
            FindingKind.INTERIOR,
            FindingKind.BELONGINGS,
            FindingKind.ELECTRICAL,
            FindingKind.MISSING_OR_EXTRA,
        ),
        Group.MECHANICAL: (FindingKind.MECHANICAL, FindingKind.ELECTRICAL),
        Group.WHOLE: (
            FindingKind.PROVENANCE,
            FindingKind.MISSING_OR_EXTRA,
            FindingKind.MECHANICAL,
            FindingKind.ELECTRICAL,
        ),
    }
)


def not_drawn() -> dict[Group, list[Area]]:
    """Return the areas that the drawing has no place for, by group."""
    left: dict[Group, list[Area]] = {}
    for area in AREAS.values():
        if area.code not in _DRAWN:
            left.setdefault(area.group, []).append(area)
    return left


def kinds_first(area: str) -> tuple[FindingKind, ...]:
    """Return the kinds of finding that are offered first for an area.

    Raises KeyError for a code that no area has.
    """
    return KINDS_FIRST[AREAS[area].group]
