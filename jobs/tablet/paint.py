"""Paint on the tablet: readings by tapping the drawing, what they say, and the passes done."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from uuid import UUID

from django.http import HttpRequest, HttpResponse

from accounts.caller import Caller
from core.clock import now
from jobs.tablet.base import TabletPage
from jobs.tablet.selectors.car import car_for_tablet
from jobs.work.calc.car.areas import PANELS
from jobs.work.calc.catalogue.cautions import MACHINE
from jobs.work.calc.paint.comparison import LEAST_PANELS
from jobs.work.calc.paint.correction import Left
from jobs.work.calc.paint.film import HOW_TO_CHECK, WHOLE_CAR
from jobs.work.calc.paint.survey import LEAST_READINGS, FilmClass
from jobs.work.calc.paint.system import FADE_WORDS, is_white
from jobs.work.drawings.car_picker import CELLS, Cell
from jobs.work.models import PaintTest, PassesDone, SpotReading
from jobs.work.selectors.paint import PaintRecord, paint_of_job

MATERIALS = (("steel", "Steel"), ("aluminium", "Aluminium"), ("plastic", "Plastic: no reading"))
PASSES = (
    (PassesDone.Kind.CUT.value, "Cutting"),
    (PassesDone.Kind.FINISH.value, "Finishing"),
)
# What a test asks, each with the codes of the API; an empty one is left out.
RUBBED_WITH = (
    (PaintTest.RubbedWith.WHITE_PAD.value, "White pad"),
    (PaintTest.RubbedWith.DARK_CLOTH.value, "Dark cloth"),
)
CAME_OFF = (
    (PaintTest.PadColour.PAINT.value, "The paint's own colour"),
    (PaintTest.PadColour.NOTHING.value, "Nothing of the paint"),
    (PaintTest.PadColour.UNSURE.value, "Not sure"),
)
LOOKS = tuple((code, words.capitalize()) for code, words in PaintTest.Look.choices)
WET = (("true", "It darkens"), ("false", "No change"), ("", "Not tried"))
PAD = ("1", "2", "3", "4", "5", "6", "7", "8", "9")


@dataclass(frozen=True, slots=True)
class PanelCell:
    """One cell of the drawing; a panel with what was measured, anything else is only drawn."""

    cell: Cell
    is_panel: bool
    figure: str = ""
    material: str = ""
    words: str = ""


@dataclass(frozen=True, slots=True)
class PanelRow:
    """What is known of one panel; `left`: what the careful allowance still has, if any.

    `verdict`: what the tests say can be done about what is seen on it.
    """

    code: str
    name: str
    words: str
    left: Left | None
    cut: int
    finish: int
    no_allowance_because: str = ""
    figure: str = ""
    spots: int = 0
    reasons: Sequence[str] = ()
    asks_for_film: bool = False
    verdict: str = ""


class PaintPage(TabletPage):
    """The paint of one car."""

    def get(self, request: HttpRequest, caller: Caller, job_id: UUID) -> HttpResponse:
        """Show the drawing with its readings, and what they say."""
        job = car_for_tablet(caller, job_id, now())
        record = paint_of_job(job)
        rows = panel_rows(record)
        return self.page(
            request,
            caller,
            "jobs/tablet/paint.html",
            job=job,
            cells=_cells(record),
            rows=rows,
            materials=MATERIALS,
            pad=PAD,
            least=LEAST_READINGS,
            least_panels=LEAST_PANELS,
            how_to_check=HOW_TO_CHECK,
            passes=PASSES,
            panels=[(panel.code, panel.name) for panel in PANELS.values()],
            system=record.system.words,
            why_unsure=record.why_unsure,
            white=is_white(job.colour),
            film=record.film_on(WHOLE_CAR),
            rubbed_with=RUBBED_WITH,
            came_off=CAME_OFF,
            looks=LOOKS,
            wet=WET,
            tests=_tests(record),
            cautions=[*record.survey.cautions, MACHINE] if rows else [],
            assumption=_assumption(record),
            offers=[(offer, PANELS[offer.area].name) for offer in record.offers(caller)],
            readings=[_reading(reading) for reading in record.counted],
        )


def _figure(microns: float | None) -> str:
    return "" if microns is None else f"{microns:.0f}"


def _cells(record: PaintRecord) -> list[PanelCell]:
    known = {panel.panel: panel for panel in record.survey.panels}
    cells = []
    for cell in CELLS:
        panel = known.get(cell.area)
        if panel is None:
            cells.append(PanelCell(cell, cell.area in PANELS))
            continue
        figure = _figure(panel.microns) or "plastic"
        words = panel.film_class.words
        cells.append(PanelCell(cell, cell.area in PANELS, figure, panel.material.value, words))
    return cells


def panel_rows(record: PaintRecord) -> list[PanelRow]:
    """Return what is known of each panel that was measured, tested or machined."""
    rows = [
        replace(
            _row(record, panel.panel),
            figure=_figure(panel.microns),
            spots=panel.spots,
            words=panel.film_class.words,
            reasons=panel.reasons,
            asks_for_film=panel.wants_film_check,
        )
        for panel in record.survey.panels
    ]
    return rows + [_row(record, code) for code in record.other_panels]


def _row(record: PaintRecord, code: str) -> PanelRow:
    allowance, done = record.allowance_of(code), record.done_on(code)
    return PanelRow(
        code=code,
        name=PANELS[code].name,
        words=FilmClass.NOT_MEASURED.words,
        left=allowance.conservative if allowance else None,
        no_allowance_because=record.no_allowance_because(code),
        verdict=FADE_WORDS[record.fade_of(code)],
        cut=done.cut,
        finish=done.finish,
    )


def _assumption(record: PaintRecord) -> str:
    """Return what the allowances assume: the same for every panel of one paint system."""
    for panel in record.survey.panels:
        if allowance := record.allowance_of(panel.panel):
            return allowance.assumption
    return ""


def _tests(record: PaintRecord) -> list[tuple[PaintTest, str, str]]:
    """Return the tests that count with their panels' names and what was seen, in words."""
    shown = []
    for test in record.tests:
        if test.set_aside_at is None:
            look = test.get_look_display() or ("faded" if test.faded else "")
            seen = f"{test.get_rubbed_with_display()}, {test.get_pad_colour_display()}"
            shown.append((test, PANELS[test.panel].name, f"{seen}, {look}" if look else seen))
    return shown


def _reading(reading: SpotReading) -> tuple[SpotReading, str, str]:
    """Return a reading with its panel's name and the single readings in one line."""
    return (
        reading,
        PANELS[reading.panel].name,
        ", ".join(f"{single:g}" for single in reading.readings),
    )
