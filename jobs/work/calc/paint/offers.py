"""Signs of refinish as a finding that the valeter may send, or not: the tool makes none itself."""

from collections.abc import Sequence
from dataclasses import dataclass

from jobs.work.calc.car.areas import PANELS
from jobs.work.calc.findings import FindingKind, Weight
from jobs.work.calc.paint.film import CHECK_FIRST
from jobs.work.calc.paint.survey import PROVES_NOTHING, FilmClass, PanelResult, Survey, Twins

_WEIGHTS = {
    FilmClass.BUILT_UP: Weight.FOR_INFORMATION,
    FilmClass.MUCH_BUILT_UP: Weight.BEFORE_SALE,
}
NO_FILM = "No film or wrap on it: it may have been painted again."


@dataclass(frozen=True, slots=True)
class Offer:
    """A ready-made finding, in the fields that a finding is reported with."""

    area: str
    weight: Weight
    noticed: str
    circumstance: str
    advice: str
    kind: FindingKind = FindingKind.PROVENANCE
    from_paint_survey: bool = True


def offers_of(survey: Survey) -> tuple[Offer, ...]:
    """Return a finding for each panel thicker than the rest; none where the survey cannot tell.

    Raises KeyError for a panel whose code no panel has.
    """
    usual = {
        comparison.metal: comparison.baseline.median_microns
        for comparison in survey.comparisons
        if comparison.baseline
    }
    return tuple(
        _offer(panel, usual[panel.material], survey.twins)
        for panel in survey.panels
        if panel.film_class in _WEIGHTS
    )


def _offer(panel: PanelResult, usual: float, twins: Sequence[Twins]) -> Offer:
    """Return the finding; what the survey says only with caveats says it with them here too."""
    count = f"{panel.spots} spot" + ("" if panel.spots == 1 else "s")
    noticed = (
        f"Film thickness on the {PANELS[panel.panel].name}: {panel.microns:.0f} microns, "
        f"{panel.film_class.words}; the usual {panel.material} panel of this car reads "
        f"{usual:.0f}."
    )
    pair = next((pair for pair in twins if panel.panel in {pair.left, pair.right}), None)
    if pair is not None and not pair.alike:
        noticed += f" Left and right differ by {abs(pair.difference_microns):.0f} microns."
    film = CHECK_FIRST if panel.wants_film_check else NO_FILM
    return Offer(
        area=panel.panel,
        weight=_WEIGHTS[panel.film_class],
        noticed=noticed,
        circumstance=f"Film thickness gauge, {count}, each the mean of at least three readings.",
        advice=" ".join([film, *panel.caveats, PROVES_NOTHING, "Ask for its history."]),
    )
