"""The paint survey: what film thickness by panel says about a car, and what it cannot say.

A spot reading is the mean of at least three single readings close together (SSPC-PA 2). A panel
counts with the median of its spots, so that one touched-in place does not speak for all of it.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from enum import StrEnum
from types import MappingProxyType

from jobs.work.calc.car.areas import PANELS
from jobs.work.calc.paint.comparison import Comparison, Doubt, comparison_of
from jobs.work.calc.paint.film import CHECK_FIRST, HOW_TO_CHECK, FilmAnswer, film_on
from jobs.work.calc.paint.statistics import (
    OUTLIER_Z,
    REWORK_HIGH_MICRONS,
    SERIES_WIDTH_MICRONS,
    Baseline,
    above_series,
    mean,
    median,
    standard_deviation,
)

# SSPC-PA 2: a spot measurement is the mean of at least three gauge readings.
LEAST_READINGS = 3
# Thinner than e-coat, primer and base coat at their thinnest with hardly any clear on them; from
# memory, see correction.py.
BARE_MICRONS = 60.0
# What a gauge for car bodies can read: bare metal to thick filler (common practice, no source).
LOWEST_READING_MICRONS, HIGHEST_READING_MICRONS = 0.0, 5000.0

PROVES_NOTHING = (
    "Car bodies total about 80 to 130 microns from series production, up to about twice that "
    "through rework in the factory; thickness alone never proves an accident."
)
CANNOT_TELL = (
    "No metal has five panels measured: there is nothing to compare a panel with, so this survey "
    "cannot tell which are unusual. Measure at least five of one metal, better all."
)
MANY_STAND_OUT = (
    "Half of the {} panels or more stand out: which are the usual ones, nobody can say. A hint at "
    "most."
)


class Material(StrEnum):
    """What a panel is made of; a gauge reads nothing on plastic."""

    STEEL = "steel"
    ALUMINIUM = "aluminium"
    PLASTIC = "plastic"


class FilmClass(StrEnum):
    """What the film of a panel is beside the other panels of its metal on this car.

    The codes stand in the contract and stay; the words claim no more than the comparison.
    """

    AS_MADE = "as_made"
    THIN = "thin"
    BUILT_UP = "built_up"
    MUCH_BUILT_UP = "much_built_up"
    FILM_ON_IT = "film_on_it"
    CANNOT_TELL = "cannot_tell"
    NO_READING = "no_reading"
    NOT_MEASURED = "not_measured"

    @property
    def words(self) -> str:
        """Return the class in plain words."""
        return _WORDS.get(self, self.value.replace("_", " "))

    @property
    def word(self) -> str:
        """Return the class in the one or two words that fit a drawing."""
        return _SHORT.get(self, self.words)


_WORDS = {
    FilmClass.AS_MADE: "like the rest",
    FilmClass.BUILT_UP: "thicker than the rest",
    FilmClass.MUCH_BUILT_UP: "much thicker than the rest",
    FilmClass.FILM_ON_IT: "film or wrap on it",
}
_SHORT = {
    FilmClass.AS_MADE: "alike",
    FilmClass.BUILT_UP: "thicker",
    FilmClass.MUCH_BUILT_UP: "much thicker",
    FilmClass.FILM_ON_IT: "film",
}
THICK = frozenset({FilmClass.BUILT_UP, FilmClass.MUCH_BUILT_UP})
STANDS_OUT = THICK | {FilmClass.THIN}
NO_FILM: Mapping[str, FilmAnswer] = MappingProxyType({})


@dataclass(frozen=True, slots=True)
class Spot:
    """One place on a panel and its single readings in microns; none on plastic."""

    panel: str
    material: Material
    readings: tuple[float, ...] = ()

    @property
    def microns(self) -> float:
        """Return the spot reading: the mean. Raises ValueError where there is no reading."""
        return mean(self.readings)

    @property
    def deviation_microns(self) -> float:
        """Return the standard deviation of the single readings; 0 for one, or for none."""
        return standard_deviation(self.readings)


@dataclass(frozen=True, slots=True)
class PanelResult:
    """A panel and what the survey says of it; figures are None where there is no reading.

    `caveats` hold for every word on the panel: whatever is said of it is said with them.
    """

    panel: str
    material: Material
    spots: int
    film_class: FilmClass
    reasons: tuple[str, ...]
    film: FilmAnswer = FilmAnswer.NOT_ASKED
    caveats: tuple[str, ...] = ()
    microns: float | None = None
    lowest_microns: float | None = None
    highest_microns: float | None = None
    difference_microns: float | None = None
    modified_z: float | None = None
    z_counted: float | None = None

    @property
    def wants_film_check(self) -> bool:
        """Return whether it is thick and nobody has said yet whether a film or wrap lies on it."""
        if self.microns is None or self.film is not FilmAnswer.NOT_ASKED:
            return False
        return self.film_class in THICK or above_series(self.microns)


@dataclass(frozen=True, slots=True)
class Twins:
    """The same panel left and right, both measured, of one metal and without a film."""

    left: str
    right: str
    difference_microns: float
    alike: bool


@dataclass(frozen=True, slots=True)
class Survey:
    """What all spots of a car say together; each metal is compared with itself."""

    comparisons: tuple[Comparison, ...]
    panels: tuple[PanelResult, ...]
    twins: tuple[Twins, ...]
    cautions: tuple[str, ...]

    @property
    def notes(self) -> tuple[str, ...]:
        """Return the cautions that are about this car: they stand wherever its classes do."""
        return self.cautions[1:]

    @property
    def can_tell(self) -> bool:
        """Return whether any panel could be compared with others of its metal."""
        return any(comparison.baseline for comparison in self.comparisons)

    @property
    def classes_all(self) -> bool:
        """Return whether nothing stands in the way of classing the panels."""
        return bool(self.comparisons) and all(
            comparison.doubt is Doubt.NONE for comparison in self.comparisons
        )


@dataclass(frozen=True, slots=True)
class _Panel:
    """The spots of one panel, put together, and whether a film lies on it."""

    code: str
    material: Material
    spots: tuple[float, ...]
    film: FilmAnswer

    @property
    def microns(self) -> float:
        return median(self.spots)

    @property
    def counts(self) -> bool:
        """Return whether its reading is one of paint on metal."""
        return bool(self.spots) and self.film is not FilmAnswer.YES


def survey_of(spots: Sequence[Spot], films: Mapping[str, FilmAnswer] = NO_FILM) -> Survey:
    """Work out the survey; the order of the spots does not matter.

    `films`: what is known of films, by panel or for the whole car. A panel takes the material of
    its first spot: the caller keeps them the same.
    """
    panels = _by_panel(spots, films)
    counted = {code: panel for code, panel in panels.items() if panel.counts}
    comparisons = {
        metal: comparison_of(metal, values)
        for metal in Material
        if (values := {c: p.microns for c, p in counted.items() if p.material is metal})
    }
    many = [metal for metal, comparison in comparisons.items() if _many_stand_out(comparison)]
    results = tuple(
        _judged(panel, comparisons.get(panel.material), many) for panel in panels.values()
    )
    return Survey(
        tuple(comparisons.values()),
        results,
        _twins(counted),
        _cautions(list(comparisons.values()), results, many),
    )


def _by_panel(spots: Sequence[Spot], films: Mapping[str, FilmAnswer]) -> dict[str, _Panel]:
    """Return the panels in the order of our list of areas."""
    return {
        code: _Panel(
            code,
            here[0].material,
            tuple(sorted(spot.microns for spot in here if spot.readings)),
            film_on(films, code),
        )
        for code in PANELS
        if (here := [spot for spot in spots if spot.panel == code])
    }


def _many_stand_out(comparison: Comparison) -> bool:
    classes = [_class_of(microns, comparison) for microns in comparison.values.values()]
    return 2 * sum(film_class in STANDS_OUT for film_class in classes) >= len(classes)


def _judged(panel: _Panel, comparison: Comparison | None, many: Sequence[Material]) -> PanelResult:
    count = len(panel.spots)
    if not panel.spots:
        reason = "Plastic gives no reading."
        return PanelResult(
            panel.code, panel.material, 0, FilmClass.NO_READING, (reason,), panel.film
        )
    result = PanelResult(
        panel.code,
        panel.material,
        count,
        FilmClass.FILM_ON_IT,
        ("The reading is of film and paint together: it says nothing of the paint.",),
        panel.film,
        microns=panel.microns,
        lowest_microns=panel.spots[0],
        highest_microns=panel.spots[-1],
    )
    if comparison is None or not panel.counts:
        return result
    many_words = (MANY_STAND_OUT.format(panel.material),) if panel.material in many else ()
    compared = replace(
        result,
        film_class=_class_of(panel.microns, comparison),
        caveats=comparison.caveats + many_words,
    )
    return _with_reasons(compared, panel, comparison)


def _class_of(microns: float, comparison: Comparison) -> FilmClass:
    """Return the class of a panel by the comparison, no further than the comparison goes."""
    baseline = comparison.baseline
    if baseline is not None and comparison.tells_thick and baseline.stands_above(microns):
        much = microns > REWORK_HIGH_MICRONS
        return FilmClass.MUCH_BUILT_UP if much else FilmClass.BUILT_UP
    if baseline is None or not comparison.tells_ordinary:
        return FilmClass.CANNOT_TELL
    if baseline.stands_below(microns) or microns < BARE_MICRONS:
        return FilmClass.THIN
    return FilmClass.AS_MADE


def _with_reasons(result: PanelResult, panel: _Panel, comparison: Comparison) -> PanelResult:
    """Return the result with its reasons in sentences, and its figures of the comparison."""
    baseline = comparison.baseline
    reasons = _compared(result.film_class, panel, baseline) if baseline else []
    reasons += _group(panel.code, comparison)
    if result.film_class is FilmClass.CANNOT_TELL:
        reasons += comparison.caveats
    reasons += _absolute(panel.microns)
    if result.film_class is FilmClass.AS_MADE and baseline:
        reasons += _single_spots(panel, baseline)
    if result.wants_film_check:
        reasons += [CHECK_FIRST, HOW_TO_CHECK]
    if baseline is None:
        return replace(result, reasons=tuple(reasons))
    return replace(
        result,
        reasons=tuple(reasons),
        difference_microns=panel.microns - baseline.median_microns,
        modified_z=comparison.modified_z[panel.code],
        z_counted=baseline.score(panel.microns),
    )


def _compared(film_class: FilmClass, panel: _Panel, baseline: Baseline) -> list[str]:
    """Return how the panel lies beside the usual one of its metal."""
    above = panel.microns - baseline.median_microns
    usual = f"this car's usual {panel.material} panel, {baseline.median_microns:.0f} microns"
    side = "above" if above >= 0 else "below"
    score = abs(baseline.score(panel.microns))
    reasons = [f"{abs(above):.1f} microns {side} {usual}: {score:.1f} times the spread."]
    if film_class in STANDS_OUT and score > OUTLIER_Z:
        reasons.append(f"More than {OUTLIER_Z} times the spread from the rest stands out.")
    elif film_class in THICK:
        reasons.append(
            f"More than {SERIES_WIDTH_MICRONS:.0f} microns above the rest, the whole width of "
            "the series range, stands out however widely the panels lie apart."
        )
    return reasons


def _group(code: str, comparison: Comparison) -> list[str]:
    """Return which of two groups a panel belongs to, in a sentence, where there are two."""
    if comparison.groups is None:
        return []
    return [f"It is in the {'thinner' if code in comparison.groups.thinner else 'thicker'} group."]


def _absolute(microns: float) -> list[str]:
    """Return what the figure says by itself, without any comparison."""
    if microns > REWORK_HIGH_MICRONS:
        return [f"Over {REWORK_HIGH_MICRONS:.0f} microns is more than rework in the factory makes."]
    if microns < BARE_MICRONS:
        return [f"Under {BARE_MICRONS:.0f} microns hardly any clear coat can be left."]
    return []


def _single_spots(panel: _Panel, baseline: Baseline) -> list[str]:
    """Return a sentence where one spot stands out though the panel as a whole does not."""
    high, low = panel.spots[-1], panel.spots[0]
    said = []
    if baseline.stands_above(high):
        said.append(
            f"One spot reads {high:.0f} microns: measure around it. There may be a film or a "
            "badge's glue, or part of the panel may have been painted."
        )
    if baseline.stands_below(low) or low < BARE_MICRONS:
        said.append(f"One spot reads {low:.0f} microns: take care there.")
    return said


def _twins(counted: Mapping[str, _Panel]) -> tuple[Twins, ...]:
    """Compare left with right of one metal; alike up to the width of the series range."""
    found = []
    for code, panel in counted.items():
        twin = counted.get(PANELS[code].twin)
        if twin is None or twin.material is not panel.material or not code.startswith("left_"):
            continue
        apart = panel.microns - twin.microns
        found.append(Twins(code, twin.code, apart, abs(apart) <= SERIES_WIDTH_MICRONS))
    return tuple(found)


def _cautions(
    comparisons: Sequence[Comparison], results: Sequence[PanelResult], many: Sequence[Material]
) -> tuple[str, ...]:
    """Return what has to be known of the survey as a whole."""
    said = [PROVES_NOTHING]
    if not any(comparison.baseline for comparison in comparisons):
        said.append(CANNOT_TELL)
    for comparison in comparisons:
        said += comparison.caveats
    said += [MANY_STAND_OUT.format(metal) for metal in many]
    if any(result.wants_film_check for result in results):
        said.append(f"{CHECK_FIRST} {HOW_TO_CHECK}")
    return tuple(said)


def sentence_of(survey: Survey) -> str:
    """Return what the survey says, in a few sentences for somebody with ten seconds.

    Raises KeyError where a panel that stands out has a code that no panel has.
    """
    if not survey.can_tell:
        return "Too few panels were measured to compare them with each other."
    parts = []
    for film_class in (FilmClass.MUCH_BUILT_UP, FilmClass.BUILT_UP, FilmClass.THIN):
        names = [
            PANELS[panel.panel].name for panel in survey.panels if panel.film_class is film_class
        ]
        if names:
            parts.append(f"{film_class.words}: {', '.join(names)}")
    said = [f"{'; '.join(parts).capitalize()}."] if parts else []
    for comparison in survey.comparisons:
        if comparison.baseline:
            said += comparison.caveats
    if any(result.wants_film_check for result in survey.panels):
        said.append(CHECK_FIRST)
    classed = [
        comparison.metal for comparison in survey.comparisons if comparison.doubt is Doubt.NONE
    ]
    if classed:
        panels = "panels" if survey.classes_all else f"{' and '.join(classed)} panels"
        none = (
            f"No{' ' if survey.classes_all else f' {classed[0]} '}panel stands out from the rest."
        )
        said.append(f"The other {panels} are like one another." if parts else none)
    return " ".join(said)
