"""A picture of a car seen from above, its sides folded out, with the paint readings on it.

Our own drawing in plain shapes, as SVG text: no scripts, no styles, nothing fetched from
elsewhere. The front is at the top, so left and right are as from the driver's seat. Each class of
film has a pattern and its words beside the colour, which alone would tell nothing to many.
"""

import textwrap
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from html import escape

from jobs.work.calc.car.areas import PANELS
from jobs.work.calc.paint.survey import FilmClass
from jobs.work.drawings.car_shapes import HEIGHT, WIDTH, Shape, plan_of

INK = "#1a1a1a"
PAPER = "#ffffff"
LINE_HEIGHT = 22
LEGEND_TOP = HEIGHT + 26
LEGEND_LINES = 6
LETTERS_IN_A_LINE = 54  # of the letters of a note, in the width of the picture
# Fill, and the colour of the pattern on it: against each of the fills INK has 10:1 or more.
FILLS: Mapping[FilmClass, tuple[str, str]] = {
    FilmClass.AS_MADE: ("#e8f1ec", ""),
    FilmClass.THIN: ("#dcebfa", "#2f6fab"),
    FilmClass.BUILT_UP: ("#fdebc8", "#b46a00"),
    FilmClass.MUCH_BUILT_UP: ("#fbdcd6", "#b3261e"),
    FilmClass.FILM_ON_IT: ("#efe6f7", "#6b3fa0"),
    FilmClass.CANNOT_TELL: ("#ffffff", ""),
    FilmClass.NO_READING: ("#e3e3e3", ""),
}
_PATTERNS = {
    FilmClass.THIN: '<circle cx="5" cy="5" r="1.6" fill="{ink}"/>',
    FilmClass.BUILT_UP: '<path d="M-2 12 12 -2" stroke="{ink}" stroke-width="1.6"/>',
    FilmClass.MUCH_BUILT_UP: (
        '<path d="M-2 12 12 -2M-2 -2 12 12" stroke="{ink}" stroke-width="1.6"/>'
    ),
    FilmClass.FILM_ON_IT: '<circle cx="5" cy="5" r="3" fill="none" stroke="{ink}"/>',
}
_LEGEND = (
    (FilmClass.AS_MADE, "alike: plain"),
    (FilmClass.THIN, "thin: dots"),
    (FilmClass.BUILT_UP, "thicker: stripes"),
    (FilmClass.MUCH_BUILT_UP, "much thicker: crossed"),
    (FilmClass.FILM_ON_IT, "film or wrap: rings"),
    (FilmClass.CANNOT_TELL, "white: cannot tell"),
    (FilmClass.NO_READING, "plastic: no reading"),
)


@dataclass(frozen=True, slots=True)
class Mark:
    """What stands on one panel: its reading, None where there is none, and its class."""

    panel: str
    microns: float | None
    film_class: FilmClass

    @property
    def figure(self) -> str:
        """Return the reading as it is written on the panel."""
        return "" if self.microns is None else f"{self.microns:.0f}"

    @property
    def sentence(self) -> str:
        """Return the mark in words. Raises KeyError for a code that no panel has."""
        name = PANELS[self.panel].name
        if self.microns is None:
            return f"{name}: {self.film_class.words}"
        return f"{name}: {self.figure}, {self.film_class.words}"


def car_plan(
    marks: Sequence[Mark], *, body_size: str = "", title: str = "", notes: Sequence[str] = ()
) -> str:
    """Return the picture as SVG text; `title` names the car. Panels without a mark stay empty.

    `notes` are sentences that have to be known beside the classes; they stand below them. Raises
    KeyError for a mark whose code no panel has.
    """
    by_panel = {mark.panel: mark for mark in marks}
    plan = plan_of(body_size)
    drawn = {shape.panel for shape in plan.panels}
    listed = [mark for code, mark in by_panel.items() if code not in drawn or _stands_out(mark)]
    heading = f"Paint survey {title}".strip()
    lines = _listed_lines(listed, notes)
    height = LEGEND_TOP + (LEGEND_LINES - 1) * LINE_HEIGHT + 16 + len(lines) * LINE_HEIGHT
    parts = [
        _opening(height),
        f'<title id="paint-plan-title">{escape(heading)}</title>',
        f'<desc id="paint-plan-words">{escape(_description(marks, notes))}</desc>',
        *_definitions(),
        f'<rect width="{WIDTH}" height="{height}" fill="{PAPER}"/>',
        *_frame(),
        *(_glass(path) for path in plan.glass),
        *(part for shape in plan.panels for part in _panel(shape, by_panel.get(shape.panel))),
        *_legend(),
        *lines,
        "</svg>",
    ]
    return "\n".join(parts)


def _opening(height: int) -> str:
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH} {height}" '
        f'width="{WIDTH}" height="{height}" role="img" '
        'aria-labelledby="paint-plan-title paint-plan-words" '
        f'font-family="Helvetica, Arial, sans-serif" fill="{INK}">'
    )


def _stands_out(mark: Mark) -> bool:
    return mark.film_class in _PATTERNS


def _description(marks: Sequence[Mark], notes: Sequence[str]) -> str:
    measured = "; ".join(mark.sentence for mark in marks) or "nothing measured yet"
    return " ".join(
        [
            "Plan view, front at the top, left and right as from the driver's seat.",
            f"Film thickness in microns: {measured}.",
            *notes,
        ]
    )


def _definitions() -> Iterator[str]:
    yield "<defs>"
    for film_class, drawing in _PATTERNS.items():
        fill, ink = FILLS[film_class]
        yield (
            f'<pattern id="paint-plan-{film_class.value}" width="10" height="10" '
            f'patternUnits="userSpaceOnUse"><rect width="10" height="10" fill="{fill}"/>'
            f"{drawing.format(ink=ink)}</pattern>"
        )
    yield "</defs>"


def _text(x: float, y: float, words: str, *, size: int = 15, more: str = "") -> str:
    return f'<text x="{x:g}" y="{y:g}" font-size="{size}"{more}>{escape(words)}</text>'


_MIDDLE = ' text-anchor="middle"'
# The paper's colour around letters keeps them clear of the pattern beneath.
_HALO = f'{_MIDDLE} paint-order="stroke" stroke="{PAPER}" stroke-width="5" stroke-linejoin="round"'


def _frame() -> Iterator[str]:
    yield _text(WIDTH / 2, 16, "FRONT", size=13, more=_MIDDLE)
    yield _text(WIDTH / 2, HEIGHT + 4, "BACK", size=13, more=_MIDDLE)
    yield _text(8, 16, "LEFT", size=13)
    yield _text(WIDTH - 8, 16, "RIGHT", size=13, more=' text-anchor="end"')


def _glass(path: str) -> str:
    return f'<path d="{path}" fill="#f4f6f8" stroke="#8a929a" stroke-width="1"/>'


def _fill(mark: Mark | None) -> str:
    if mark is None:
        return PAPER
    if _stands_out(mark):
        return f"url(#paint-plan-{mark.film_class.value})"
    return FILLS[mark.film_class][0]


def _panel(shape: Shape, mark: Mark | None) -> Iterator[str]:
    dashes = ' stroke-dasharray="4 3"' if mark is None else ""
    yield f'<path d="{shape.path}" fill="{_fill(mark)}" stroke="{INK}" stroke-width="1.5"{dashes}/>'
    if mark is None:
        return
    words = "plastic" if mark.microns is None else mark.film_class.word
    lines = _lines(shape, mark.figure, words)
    turned = f' transform="rotate({shape.turn} {shape.x:g} {shape.y:g})"' if shape.turn else ""
    top = shape.y - (len(lines) - 1) * 9 + 5
    for number, line in enumerate(lines):
        is_figure = line == mark.figure
        weight = ' font-weight="bold"' if is_figure else ""
        size = 18 if is_figure and not shape.tiny else 14
        yield _text(shape.x, top + number * 18, line, size=size, more=_HALO + weight + turned)


def _lines(shape: Shape, figure: str, words: str) -> list[str]:
    """Return what stands on the shape, in lines that fit it."""
    if shape.tiny:
        return [figure or "-"]
    if shape.turn:
        return [f"{figure} {words}".strip()]
    first, _, rest = words.partition(" ")
    lines = [words] if len(words) <= shape.letters else [first, rest]
    return [figure, *lines] if figure else lines


def _legend() -> Iterator[str]:
    for number, (film_class, words) in enumerate(_LEGEND):
        x = 8 + (number % 2) * (WIDTH / 2)
        y = LEGEND_TOP + (number // 2) * LINE_HEIGHT
        fill = (
            f"url(#paint-plan-{film_class.value})"
            if film_class in _PATTERNS
            else FILLS[film_class][0]
        )
        yield (
            f'<rect x="{x:g}" y="{y - 13:g}" width="22" height="16" fill="{fill}" '
            f'stroke="{INK}" stroke-width="1"/>'
        )
        yield _text(x + 29, y, words, size=14)
    y = LEGEND_TOP + (LEGEND_LINES - 2) * LINE_HEIGHT
    yield _text(8, y, "Microns. Dashed: not measured.", size=14)
    yield _text(8, y + LINE_HEIGHT, "Sides as from the driver's seat.", size=14)


def _listed_lines(listed: Sequence[Mark], notes: Sequence[str]) -> list[str]:
    """Return in words what stands out, what the drawing has no place for, and the notes."""
    top = LEGEND_TOP + LEGEND_LINES * LINE_HEIGHT + 6
    said = [*(mark.sentence for mark in listed), *notes]
    lines = [line for words in said for line in textwrap.wrap(words, LETTERS_IN_A_LINE)]
    return [
        _text(8, top + number * LINE_HEIGHT, line, size=14) for number, line in enumerate(lines)
    ]
