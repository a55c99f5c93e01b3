"""How dirty a car came in, from 1 to 5: our own words, each with a small picture drawn here.

The five steps and their wording are ours: no published scale for the trade is known to us. A level
is what the person who books the car in sees; what it does to the minutes is learnt from finished
work (calc/minutes/durations.py).
"""

from dataclasses import dataclass
from types import MappingProxyType

ORDINARY = 2  # what standard minutes are meant for

# The picture: a car from the side, in a box of 96 by 56. Dirt climbs from the sill as it grows.
_BODY = "M6 41V31L20 27L32 12H62L76 27L90 31V41Z"
_WINDOWS = "M35 16H47V26H28ZM51 16H60L69 26H51Z"
_WHEELS = ((24, 42), (72, 42))
_SILL, _WAIST, _FRONT, _REAR = 40.0, 30.0, 9.0, 87.0
# Specks, how high above the sill they reach, and how high the mud stands, by level.
_DIRT = {1: (0, 0.0, 0), 2: (10, 9.0, 0), 3: (22, 11.0, 3), 4: (36, 23.0, 6), 5: (60, 27.0, 8)}


@dataclass(frozen=True, slots=True)
class SoilingLevel:
    """One step: what it is called, how to tell it, a caution where one is due, and its picture.

    `svg` is a whole drawing in the colour of the text around it. It is hidden from screen readers,
    since `name` and `words` say the same.
    """

    level: int
    name: str
    words: str
    caution: str
    svg: str


def _spread(nth: int, base: int) -> float:
    """Return the nth point of a row that fills 0 to 1 evenly (Halton 1960, from memory)."""
    point, share = 0.0, 1.0
    while nth:
        share /= base
        nth, digit = divmod(nth, base)
        point += share * digit
    return point


def _specks(count: int, reach: float) -> str:
    points = [
        (
            _FRONT + (_REAR - _FRONT) * _spread(nth, 2),
            _SILL - reach * _spread(nth, 3),
        )
        for nth in range(1, count + 1)
    ]
    return "".join(f"M{x:.1f} {y:.1f}h.01" for x, y in points if _on_the_car(x, y))


def _on_the_car(x: float, y: float) -> bool:
    """Return whether a speck lies on the body; above the waist there is only the cabin."""
    lean = 0.8 * (_WAIST - y)  # the screens lean inwards
    return y > _WAIST or 22 + lean < x < 74 - lean


def _mud(height: int) -> str:
    top = _SILL - height
    waves = "".join(f"q5.25 {-3 if nth % 2 else 3} 10.5 0" for nth in range(8))
    return f"M6 {_SILL:g}V{top:g}{waves}V{_SILL:g}Z"


def _picture(level: int) -> str:
    count, reach, mud = _DIRT[level]
    wheels = "".join(
        f'<circle cx="{x}" cy="{y}" r="8"/><circle cx="{x}" cy="{y}" r="3"/>' for x, y in _WHEELS
    )
    shine = '<path d="M80 10v8M76 14h8M12 14v6M9 17h6"/>' if level == 1 else ""
    dirt = f'<path stroke-width="2.6" d="{_specks(count, reach)}"/>' if count else ""
    if mud:
        dirt += f'<path fill="currentColor" stroke="none" d="{_mud(mud)}"/>'
    hub = "currentColor" if mud else "none"
    return (
        '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 96 56" width="96" height="56" '
        'aria-hidden="true" focusable="false" fill="none" stroke="currentColor" '
        f'stroke-width="2" stroke-linecap="round" stroke-linejoin="round"><path d="{_BODY}"/>'
        f'<path stroke-width="1.4" d="{_WINDOWS}"/>{dirt}{shine}'
        f'<g fill="{hub}" stroke-width="2">{wheels}</g></svg>'
    )


def _level(level: int, name: str, words: str, caution: str = "") -> SoilingLevel:
    return SoilingLevel(level, name, words, caution, _picture(level))


_ALL = (
    _level(
        1,
        "Looked after",
        "Dust on the paint, a few crumbs on the carpet. Nothing sticks.",
    ),
    _level(
        2,
        "Everyday dirt",
        "Road film, grit on the mats, finger marks. An ordinary wash and vacuum lifts it.",
    ),
    _level(
        3,
        "Well used",
        "Mud behind the wheels, spills on seats or trim, hair in the carpet.",
    ),
    _level(
        4,
        "Let go",
        "Stains through seats and carpets, brake dust baked on, moss in the seals, a smell.",
    ),
    _level(
        5,
        "Filthy all through",
        "Mud or waste inside, mould, spoilt food or animal mess. You would not sit in it.",
        "Gloves and eye protection on, doors open, and look for sharp things before you reach "
        "under anything. Needles, blood, mould or droppings: stop and ask.",
    ),
)
LEVELS = MappingProxyType({level.level: level for level in _ALL})
