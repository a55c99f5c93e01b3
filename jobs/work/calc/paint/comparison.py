"""What the panels of one metal are compared with, and why a comparison may say nothing.

The factory may paint steel and aluminium differently, so each metal has a baseline of its own.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum

from jobs.work.calc.paint.statistics import (
    REWORK_HIGH_MICRONS,
    SERIES_HIGH_MICRONS,
    SERIES_LOW_MICRONS,
    Baseline,
    Groups,
    above_series,
    baselines,
    below_series,
    modified_z,
    two_groups,
)

# Fewer panels of one metal than this make no baseline.
LEAST_PANELS = 5
SERIES = f"the {SERIES_LOW_MICRONS:.0f} to {SERIES_HIGH_MICRONS:.0f} of series production"


class Doubt(StrEnum):
    """Why single panels of a metal are not classed, or not all of them."""

    NONE = "none"
    TOO_FEW = "too_few"
    OUTSIDE_SERIES = "outside_series"
    TWO_GROUPS = "two_groups"


@dataclass(frozen=True, slots=True)
class Comparison:
    """The panels of one metal. `baselines` is the working: the last one counts; none if too few."""

    metal: str
    values: Mapping[str, float]
    doubt: Doubt
    baselines: tuple[Baseline, ...]
    modified_z: Mapping[str, float]
    groups: Groups | None

    @property
    def baseline(self) -> Baseline | None:
        """Return the baseline that counts."""
        return self.baselines[-1] if self.baselines else None

    @property
    def tells_thick(self) -> bool:
        """Return whether a panel far above the rest may be said to be thicker than the rest.

        It may also where the usual panel is somewhat thick itself: what lies far above it does.
        """
        if self.baseline is None or self.doubt is Doubt.TWO_GROUPS:
            return False
        usual = self.baseline.median_microns
        return not below_series(usual) and usual <= REWORK_HIGH_MICRONS

    @property
    def tells_ordinary(self) -> bool:
        """Return whether a panel may be said to be thin, or like the rest of this car."""
        return self.doubt is Doubt.NONE

    @property
    def caveats(self) -> tuple[str, ...]:
        """Return what has to be known beside every word on a panel of this metal."""
        if self.baseline is None:
            return (self._too_few(),)
        if self.groups:
            return (self._two_groups(self.groups),)
        if self.doubt is Doubt.OUTSIDE_SERIES:
            return (self._outside_series(self.baseline.median_microns),)
        return ()

    def _too_few(self) -> str:
        count = len(self.values)
        panels = "panel was" if count == 1 else "panels were"
        return (
            f"Only {count} {self.metal} {panels} measured, so this survey cannot tell which are "
            f"unusual: they are compared with nothing. Measure at least {LEAST_PANELS} of one "
            "metal, better all."
        )

    def _two_groups(self, groups: Groups) -> str:
        return (
            f"The {self.metal} panels form two groups, {len(groups.thinner)} at about "
            f"{groups.thinner_microns:.0f} and {len(groups.thicker)} at about "
            f"{groups.thicker_microns:.0f} microns: nobody can tell from that which is as made."
        )

    def _outside_series(self, usual: float) -> str:
        panel = f"The usual {self.metal} panel reads {usual:.0f} microns,"
        if below_series(usual):
            return (
                f"{panel} less than {SERIES}. Check the gauge on its foil. Much may have been "
                "polished off already."
            )
        if usual > REWORK_HIGH_MICRONS:
            return (
                f"{panel} more than rework in the factory makes: a film, a wrap or paint all over "
                "reads like this."
            )
        return (
            f"{panel} more than {SERIES}: factory rework, a film, a wrap or paint all over reads "
            "like this."
        )


def comparison_of(metal: str, values: Mapping[str, float]) -> Comparison:
    """Return how the panels of one metal compare; `values` are microns by panel, one at least."""
    if len(values) < LEAST_PANELS:
        return Comparison(metal, values, Doubt.TOO_FEW, (), {}, None)
    made = baselines(values)
    groups = two_groups(values)
    scores = dict(zip(values, modified_z(list(values.values())), strict=True))
    return Comparison(metal, values, _doubt(made[-1], groups, len(values)), made, scores, groups)


def _doubt(baseline: Baseline, groups: Groups | None, count: int) -> Doubt:
    """Return the doubt; none where the thinner of two groups is most of the panels and ordinary."""
    outside = _outside(baseline.median_microns)
    if groups is None:
        return Doubt.OUTSIDE_SERIES if outside else Doubt.NONE
    half_or_less = 2 * len(groups.thinner) <= count
    doubtful = half_or_less or outside or _outside(groups.thinner_microns)
    return Doubt.TWO_GROUPS if doubtful else Doubt.NONE


def _outside(microns: float) -> bool:
    return below_series(microns) or above_series(microns)
