"""The paint survey: what film thickness by panel says about a car, and what it cannot say.

A spot reading is the mean of at least three single readings close together (SSPC-PA 2). A panel
counts with the median of its spots, so that one touched-in place does not speak for all of it.
"""

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum

from jobs.calc.areas import PANELS
from jobs.calc.paint_statistics import (
    OUTLIER_Z,
    SERIES_WIDTH_MICRONS,
    Baseline,
    baselines,
    mean,
    median,
    modified_z,
    standard_deviation,
)

# SSPC-PA 2: a spot measurement is the mean of at least three gauge readings.
LEAST_READINGS = 3
# Fewer panels than this make no baseline.
LEAST_PANELS = 5
# Series production lays on 80 to 130 microns in all; rework in the factory can double that
# (a sheet of the refinish industry).
SERIES_LOW_MICRONS, SERIES_HIGH_MICRONS = 80.0, 130.0
REWORK_HIGH_MICRONS = 2 * SERIES_HIGH_MICRONS
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
    "Fewer than five metal panels were measured: there is nothing to compare a panel with, so "
    "this survey cannot tell which are unusual. Measure at least five, better all."
)
MANY_STAND_OUT = (
    "Half of the panels or more stand out. Then nobody can say which are the usual ones: the "
    "classes are a hint at most."
)
MIXED_MATERIALS = (
    "Steel and aluminium panels are compared with each other here, and the factory may paint them "
    "differently: rather compare a panel with its twin."
)
WHOLE_CAR = (
    "The usual panel of this car reads {:.0f} microns, outside the 80 to 130 of series production. "
    "Panels are compared within this car only: paint laid over all of it would not show."
)


class Material(StrEnum):
    """What a panel is made of; a gauge reads nothing on plastic."""

    STEEL = "steel"
    ALUMINIUM = "aluminium"
    PLASTIC = "plastic"


class FilmClass(StrEnum):
    """What the film of a panel is, beside the rest of the car."""

    AS_MADE = "as_made"
    THIN = "thin"
    BUILT_UP = "built_up"
    MUCH_BUILT_UP = "much_built_up"
    CANNOT_TELL = "cannot_tell"
    NO_READING = "no_reading"
    NOT_MEASURED = "not_measured"

    @property
    def words(self) -> str:
        """Return the class in plain words."""
        return self.value.replace("_", " ")


@dataclass(frozen=True, slots=True)
class Spot:
    """One place on a panel and its single readings in microns; none on plastic."""

    panel: str
    material: Material
    readings: tuple[float, ...] = ()

    @property
    def microns(self) -> float:
        """Return the spot reading: the mean."""
        return mean(self.readings)

    @property
    def deviation_microns(self) -> float:
        """Return the standard deviation of the single readings."""
        return standard_deviation(self.readings)


@dataclass(frozen=True, slots=True)
class PanelResult:
    """A panel and what the survey says of it; figures are None where there is no reading."""

    panel: str
    material: Material
    spots: int
    film_class: FilmClass
    reasons: tuple[str, ...]
    microns: float | None = None
    lowest_microns: float | None = None
    highest_microns: float | None = None
    difference_microns: float | None = None
    modified_z: float | None = None
    z_counted: float | None = None


@dataclass(frozen=True, slots=True)
class Twins:
    """The same panel left and right, both measured."""

    left: str
    right: str
    difference_microns: float
    alike: bool


@dataclass(frozen=True, slots=True)
class Survey:
    """What all spots of a car say together. `baselines` is the working: the last one counts."""

    can_tell: bool
    baselines: tuple[Baseline, ...]
    panels: tuple[PanelResult, ...]
    twins: tuple[Twins, ...]
    cautions: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class _Panel:
    """The spots of one panel, put together."""

    code: str
    material: Material
    spots: tuple[float, ...]

    @property
    def microns(self) -> float:
        return median(self.spots)


def survey_of(spots: Sequence[Spot]) -> Survey:
    """Work out the survey; the order of the spots does not matter.

    The baseline is made of the most common metal where it has five panels, else of all metal
    panels. A panel takes the material of its first spot: the caller keeps them the same.
    """
    panels = _by_panel(spots)
    metal = {code: panel for code, panel in panels.items() if panel.spots}
    base = _compared(metal)
    can_tell = len(base) >= LEAST_PANELS
    made = baselines(base) if can_tell else ()
    z_of = dict(zip(base, modified_z(list(base.values())), strict=True)) if can_tell else {}
    results = tuple(
        _judged(panel, made[-1] if made else None, z_of.get(code), base)
        for code, panel in panels.items()
    )
    return Survey(can_tell, made, results, _twins(metal), _cautions(made, results, metal, base))


def _by_panel(spots: Sequence[Spot]) -> dict[str, _Panel]:
    """Return the panels in the order of our list of areas."""
    return {
        code: _Panel(
            code,
            here[0].material,
            tuple(sorted(spot.microns for spot in here if spot.readings)),
        )
        for code in PANELS
        if (here := [spot for spot in spots if spot.panel == code])
    }


def _compared(metal: Mapping[str, _Panel]) -> dict[str, float]:
    """Return the values by panel that make the baseline."""
    counts = Counter(panel.material for panel in metal.values())
    common = max(counts, key=lambda one: (counts[one], one is Material.STEEL), default=None)
    enough = common is not None and counts[common] >= LEAST_PANELS
    return {
        code: panel.microns
        for code, panel in metal.items()
        if not enough or panel.material is common
    }


def _judged(
    panel: _Panel, baseline: Baseline | None, z: float | None, base: Mapping[str, float]
) -> PanelResult:
    count = len(panel.spots)
    if not panel.spots:
        reason = "Plastic gives no reading."
        return PanelResult(panel.code, panel.material, 0, FilmClass.NO_READING, (reason,))
    microns = panel.microns
    figures = {
        "microns": microns,
        "lowest_microns": panel.spots[0],
        "highest_microns": panel.spots[-1],
    }
    if baseline is None:
        told = ("There are too few panels to compare with.", *_absolute(microns))
        return PanelResult(
            panel.code, panel.material, count, FilmClass.CANNOT_TELL, told, **figures
        )
    film_class = _class_of(microns, baseline)
    reasons = list(_reasons(panel, film_class, baseline))
    if panel.code not in base:
        reasons.append(
            f"This panel is {panel.material} and is compared with panels of another metal, which "
            "the factory may paint differently."
        )
    return PanelResult(
        panel.code,
        panel.material,
        count,
        film_class,
        tuple(reasons),
        difference_microns=microns - baseline.median_microns,
        modified_z=z,
        z_counted=baseline.score(microns),
        **figures,
    )


def _class_of(microns: float, baseline: Baseline) -> FilmClass:
    if microns > REWORK_HIGH_MICRONS:
        return FilmClass.MUCH_BUILT_UP
    if baseline.stands_above(microns):
        return FilmClass.BUILT_UP
    if baseline.stands_below(microns) or microns < BARE_MICRONS:
        return FilmClass.THIN
    return FilmClass.AS_MADE


def _reasons(panel: _Panel, film_class: FilmClass, baseline: Baseline) -> list[str]:
    """Return why the panel has its class, in sentences."""
    above = panel.microns - baseline.median_microns
    usual = f"the car's usual {baseline.median_microns:.0f} microns"
    side = "above" if above >= 0 else "below"
    score = abs(baseline.score(panel.microns))
    reasons = [f"{abs(above):.1f} microns {side} {usual}: {score:.1f} times the spread."]
    if film_class is not FilmClass.AS_MADE and score > OUTLIER_Z:
        reasons.append(f"More than {OUTLIER_Z} times the spread from the rest stands out.")
    elif film_class is FilmClass.BUILT_UP:
        reasons.append(
            f"More than {SERIES_WIDTH_MICRONS:.0f} microns above the rest, the whole width of "
            "the series range, stands out however widely the panels lie apart."
        )
    reasons += _absolute(panel.microns)
    if film_class is FilmClass.AS_MADE:
        reasons += _single_spots(panel, baseline)
    return reasons


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
    told = []
    if baseline.stands_above(high):
        told.append(
            f"One spot reads {high:.0f} microns: measure around it, part of the panel may "
            "have been painted."
        )
    if baseline.stands_below(low) or low < BARE_MICRONS:
        told.append(f"One spot reads {low:.0f} microns: take care there.")
    return told


def _twins(metal: Mapping[str, _Panel]) -> tuple[Twins, ...]:
    """Compare left with right; alike up to the width of the series range."""
    found = []
    for code, panel in metal.items():
        other = metal.get(PANELS[code].twin)
        if other is not None and code.startswith("left_"):
            apart = panel.microns - other.microns
            found.append(Twins(code, other.code, apart, abs(apart) <= SERIES_WIDTH_MICRONS))
    return tuple(found)


def _cautions(
    made: Sequence[Baseline],
    results: Sequence[PanelResult],
    metal: Mapping[str, _Panel],
    base: Mapping[str, float],
) -> tuple[str, ...]:
    told = [PROVES_NOTHING]
    if not made:
        return (*told, CANNOT_TELL)
    usual = made[-1].median_microns
    if not SERIES_LOW_MICRONS <= usual <= SERIES_HIGH_MICRONS:
        told.append(WHOLE_CAR.format(usual))
    plain = {FilmClass.AS_MADE, FilmClass.NO_READING}
    if 2 * sum(one.film_class not in plain for one in results) >= len(metal):
        told.append(MANY_STAND_OUT)
    if len({metal[code].material for code in base}) > 1:
        told.append(MIXED_MATERIALS)
    return tuple(told)
