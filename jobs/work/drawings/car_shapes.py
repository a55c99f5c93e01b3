"""The shapes of a car and of a van in plan view, sides folded out: our own plain geometry.

Units are those of the picture, WIDTH by HEIGHT. The right side mirrors the left.
"""

from collections.abc import Sequence
from dataclasses import dataclass

WIDTH, HEIGHT = 420, 552
_VANS = frozenset({"small_van", "large_van"})


@dataclass(frozen=True, slots=True)
class Shape:
    """One panel: its outline, where its words stand, turned by how much, and how many fit."""

    panel: str
    path: str
    x: float
    y: float
    turn: int = 0
    letters: int = 9
    tiny: bool = False


@dataclass(frozen=True, slots=True)
class Plan:
    """All panels of a kind of vehicle, and the outlines of its glass."""

    panels: tuple[Shape, ...]
    glass: tuple[str, ...]


Points = Sequence[tuple[float, float]]


def _path(points: Points) -> str:
    return "M" + " ".join(f"{x:g} {y:g}" for x, y in points) + "Z"


def _box(x: float, y: float, width: float, height: float) -> Points:
    return ((x, y), (x + width, y), (x + width, y + height), (x, y + height))


def _centre(points: Points) -> tuple[float, float]:
    xs, ys = [x for x, _ in points], [y for _, y in points]
    return (min(xs) + max(xs)) / 2, (min(ys) + max(ys)) / 2


def _shape(
    panel: str, points: Points, *, turn: int = 0, letters: int = 9, tiny: bool = False
) -> Shape:
    x, y = _centre(points)
    if "front_door" in panel:
        y += 13  # clear of the mirror
    return Shape(panel, _path(points), x, y, turn, letters, tiny)


def _both(
    panel: str, points: Points, *, turn: int = 0, letters: int = 9, tiny: bool = False
) -> tuple[Shape, Shape]:
    """Return the shape of the left side and its mirror image."""
    mirrored = [(WIDTH - x, y) for x, y in points]
    return (
        _shape(f"left_{panel}", points, turn=turn, letters=letters, tiny=tiny),
        _shape(f"right_{panel}", mirrored, turn=-turn, letters=letters, tiny=tiny),
    )


# Columns from the left: sill 8 to 40, side 46 to 126, roof rail 132 to 160, middle 166 to 254.
def _wing() -> Points:
    """Return the left front wing, with a corner cut out for the wheel."""
    return ((60, 84), (126, 76), (126, 172), (64, 172), (64, 150), (46, 138), (46, 104))


def _front_door(bottom: float) -> Points:
    """Return the left front door; the mirror stands in the corner cut out of it."""
    return ((52, 178), (98, 178), (98, 204), (126, 204), (126, bottom), (52, bottom))


_FRONT = (
    _shape(
        "front_bumper",
        ((150, 26), (270, 26), (286, 40), (280, 62), (140, 62), (134, 40)),
        letters=12,
    ),
    _shape("bonnet", ((146, 70), (274, 70), (264, 172), (156, 172)), letters=14),
    *_both("front_wing", _wing()),
    *_both("door_mirror", _box(102, 178, 30, 21), tiny=True),
)
_CAR = (
    *_FRONT,
    _shape("roof", ((172, 226), (248, 226), (252, 366), (168, 366))),
    _shape("tailgate", ((160, 412), (260, 412), (268, 482), (152, 482)), letters=12),
    _shape(
        "rear_bumper",
        ((142, 490), (278, 490), (284, 514), (268, 532), (152, 532), (136, 514)),
        letters=12,
    ),
    *_both("front_door", _front_door(280)),
    *_both("rear_door", ((52, 286), (126, 286), (126, 376), (60, 376), (52, 352))),
    *_both("quarter_panel", ((66, 382), (126, 382), (126, 478), (60, 470), (46, 446), (46, 412))),
    *_both("sill", _box(10, 178, 34, 174), turn=-90),
    *_both("roof_rail", ((132, 214), (162, 226), (158, 376), (132, 400)), turn=-90),
)
_VAN = (
    *_FRONT,
    _shape("roof", _box(168, 222, 84, 198)),
    *_both("load_door", _box(132, 428, 75, 62)),
    _shape(
        "rear_bumper",
        ((142, 498), (278, 498), (284, 516), (268, 534), (152, 534), (136, 516)),
        letters=12,
    ),
    *_both("front_door", _front_door(270)),
    *_both("rear_door", _box(52, 276, 74, 80)),
    *_both("quarter_panel", ((52, 362), (126, 362), (126, 478), (60, 470), (46, 446), (46, 412))),
    *_both("sill", _box(10, 178, 34, 178), turn=-90),
    *_both("roof_rail", _box(132, 222, 30, 198), turn=-90),
)
_WINDSCREEN = _path(((154, 178), (266, 178), (250, 218), (170, 218)))
_REAR_WINDOW = _path(((168, 372), (252, 372), (262, 406), (158, 406)))
_CAR_PLAN = Plan(_CAR, (_WINDSCREEN, _REAR_WINDOW))
_VAN_PLAN = Plan(_VAN, (_WINDSCREEN,))


def plan_of(body_size: str) -> Plan:
    """Return the plan for a body size: a van's or a car's."""
    return _VAN_PLAN if body_size in _VANS else _CAR_PLAN
