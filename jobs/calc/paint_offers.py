"""Signs of refinish as a finding that the valeter may send, or not: the tool makes none itself."""

from collections.abc import Sequence
from dataclasses import dataclass

from jobs.calc.areas import PANELS
from jobs.calc.findings import FindingKind, Weight
from jobs.calc.paint import PROVES_NOTHING, FilmClass, PanelResult, Survey, Twins

_WEIGHTS = {
    FilmClass.BUILT_UP: Weight.FOR_INFORMATION,
    FilmClass.MUCH_BUILT_UP: Weight.BEFORE_SALE,
}


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
    """Return a finding for each panel that is built up; none where the survey cannot tell."""
    return tuple(
        _offer(panel, survey.baselines[-1].median_microns, survey.twins)
        for panel in survey.panels
        if panel.film_class in _WEIGHTS
    )


def _offer(panel: PanelResult, usual: float, twins: Sequence[Twins]) -> Offer:
    count = f"{panel.spots} spot" + ("" if panel.spots == 1 else "s")
    noticed = (
        f"Paint on the {PANELS[panel.panel].name} is {panel.film_class.words}: "
        f"{panel.microns:.0f} microns where the car's usual panel reads {usual:.0f}."
    )
    other = next((one for one in twins if panel.panel in {one.left, one.right}), None)
    if other is not None and not other.alike:
        noticed += f" Left and right differ by {abs(other.difference_microns):.0f} microns."
    return Offer(
        area=panel.panel,
        weight=_WEIGHTS[panel.film_class],
        noticed=noticed,
        circumstance=f"Film thickness gauge, {count}, each the mean of at least three readings.",
        advice=f"May have been painted again. {PROVES_NOTHING} Ask for the car's history.",
    )
