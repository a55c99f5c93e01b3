"""The statistics of film thickness: spots, the robust test of a panel, two groups of panels.

Values in microns. The robust test is the modified z-score of Iglewicz & Hoaglin, "How to Detect
and Handle Outliers" (1993), also in the NIST/SEMATECH e-Handbook 1.3.5.17 (both from memory).
"""

import math
import statistics
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass

# 0.6745 is the upper quartile of the standard normal distribution: MAD / 0.6745 estimates its
# standard deviation.
MAD_TO_DEVIATION = 0.6745
# The same for the mean absolute deviation, used where more than half of the values are equal.
MEAN_DEVIATION_FACTOR = 1.253314
OUTLIER_Z = 3.5
# Never believe that the sound panels of a car differ by less than this: the factory lays paint on
# unevenly and gauges scatter. Our own figure, chosen in the experiment of
# tests/calc/test_paint_experiment.py on other made-up cars than it is judged by there.
LEAST_SPREAD_MICRONS = 10.0
# A panel further above the rest than the whole series range is wide (80 to 130 microns) is no
# ordinary one, however widely the car's panels lie apart; without this, three refinished panels
# of seven would widen the spread until it hides them.
SERIES_WIDTH_MICRONS = 50.0
# What is left to compare with when panels that stand out have been put aside.
LEAST_COMPARED = 3
# A group holds at least this share of the panels; fewer are panels that stand out by themselves.
LEAST_GROUP_SHARE = 0.4
# Between two groups nothing lies for at least this share of the way from median to median.
LEAST_GAP_SHARE = 1 / 3
# Series production lays on 80 to 130 microns in all; rework in the factory can double that
# (a sheet of the refinish industry).
SERIES_LOW_MICRONS, SERIES_HIGH_MICRONS = 80.0, 130.0
REWORK_HIGH_MICRONS = 2 * SERIES_HIGH_MICRONS
# A gauge for car bodies may be wrong by a micron and 3 % of what it shows (usual in makers' data
# sheets, from memory; the sheet of the gauge in hand outranks it).
GAUGE_ERROR_MICRONS, GAUGE_ERROR_SHARE = 1.0, 0.03


def gauge_error(microns: float) -> float:
    """Return by how many microns a reading may be wrong to either side."""
    return GAUGE_ERROR_MICRONS + GAUGE_ERROR_SHARE * microns


def above_series(microns: float) -> bool:
    """Return whether a reading is more than series production gives, gauge error allowed for."""
    return microns - gauge_error(microns) > SERIES_HIGH_MICRONS


def below_series(microns: float) -> bool:
    """Return whether a reading is less than series production gives, gauge error allowed for."""
    return microns + gauge_error(microns) < SERIES_LOW_MICRONS


def mean(readings: Sequence[float]) -> float:
    """Return the arithmetic mean. Raises ValueError for no readings."""
    if not readings:
        raise ValueError("There is no mean of no readings.")
    return float(statistics.mean(readings))


def standard_deviation(readings: Sequence[float]) -> float:
    """Return the sample standard deviation (n - 1), 0 for a single reading, or for none."""
    return float(statistics.stdev(readings)) if len(readings) > 1 else 0.0


def median(values: Collection[float]) -> float:
    """Return the median. Raises ValueError for no values."""
    if not values:
        raise ValueError("There is no median of no values.")
    return float(statistics.median(values))


def median_absolute_deviation(values: Collection[float]) -> float:
    """Return the median of the distances from the median, unscaled. Raises ValueError for none."""
    middle = median(values)
    return median([abs(value - middle) for value in values])


def modified_z(values: Sequence[float]) -> list[float]:
    """Return the modified z-score of each value: 0.6745 (x - median) / MAD.

    Where the MAD is zero (more than half of the values equal) the mean absolute deviation takes
    its place, (x - median) / (1.253314 MeanAD), as Iglewicz & Hoaglin propose; where that is zero
    as well all values are equal, and every score is 0. Raises ValueError for no values.
    """
    middle = median(values)
    distances = [value - middle for value in values]
    if mad := median_absolute_deviation(values):
        return [MAD_TO_DEVIATION * distance / mad for distance in distances]
    average = mean([abs(distance) for distance in distances])
    if average == 0:
        return [0.0] * len(distances)
    return [distance / (MEAN_DEVIATION_FACTOR * average) for distance in distances]


@dataclass(frozen=True, slots=True)
class Baseline:
    """What panels are compared with: the median of those left in, and the spread that counts.

    `spread_microns` is MAD / 0.6745, but never under the least spread; it is never zero.
    """

    panels: tuple[str, ...]
    median_microns: float
    mad_microns: float
    spread_microns: float

    def score(self, microns: float) -> float:
        """Return the distance from the median in spreads: the z that counts."""
        return (microns - self.median_microns) / self.spread_microns

    def stands_above(self, microns: float) -> bool:
        """Return whether a value is too high for an ordinary panel of this car."""
        above = microns - self.median_microns
        return above > min(OUTLIER_Z * self.spread_microns, SERIES_WIDTH_MICRONS)

    def stands_below(self, microns: float) -> bool:
        """Return whether a value is too low for an ordinary panel of this car."""
        return self.score(microns) < -OUTLIER_Z


def baseline_of(values: Mapping[str, float]) -> Baseline:
    """Return the baseline of the values, nothing put aside. Raises ValueError for no values."""
    mad = median_absolute_deviation(values.values())
    return Baseline(
        panels=tuple(sorted(values)),
        median_microns=median(values.values()),
        mad_microns=mad,
        spread_microns=max(mad / MAD_TO_DEVIATION, LEAST_SPREAD_MICRONS),
    )


def baselines(values: Mapping[str, float]) -> tuple[Baseline, ...]:
    """Return the baselines, each of the panels that did not stand out by the one before.

    A refinished panel raises the median and widens the spread that it is judged by; put aside, it
    hides the next one no more. The last baseline is the one that counts; every panel, those put
    aside too, is judged by it. Raises ValueError for no values.
    """
    found = [baseline_of(values)]
    kept = dict(values)
    while True:
        now = found[-1]
        left = {
            panel: microns
            for panel, microns in kept.items()
            if not (now.stands_above(microns) or now.stands_below(microns))
        }
        if len(left) == len(kept) or len(left) < LEAST_COMPARED:
            return tuple(found)
        kept = left
        found.append(baseline_of(kept))


@dataclass(frozen=True, slots=True)
class Groups:
    """Panels that fall into two groups, and the median of each in microns."""

    thinner: tuple[str, ...]
    thicker: tuple[str, ...]
    thinner_microns: float
    thicker_microns: float


def two_groups(values: Mapping[str, float]) -> Groups | None:
    """Return the two groups that panels fall into, or None where they do not.

    The panels are parted at the widest gap that leaves both sides a fair share. Two groups they are
    where the medians lie further apart than an outlier would from either group by its own spread,
    and the gap is a fair share of that.
    """
    panels = sorted(values, key=lambda panel: (values[panel], panel))
    least = max(2, math.ceil(LEAST_GROUP_SHARE * len(panels)))
    places = range(least, len(panels) - least + 1)
    if not places:
        return None
    gap, place = max((values[panels[at]] - values[panels[at - 1]], at) for at in places)
    thinner = baseline_of({panel: values[panel] for panel in panels[:place]})
    thicker = baseline_of({panel: values[panel] for panel in panels[place:]})
    apart = thicker.median_microns - thinner.median_microns
    spread = max(thinner.spread_microns, thicker.spread_microns)
    if apart <= OUTLIER_Z * spread or gap < LEAST_GAP_SHARE * apart:
        return None
    return Groups(thinner.panels, thicker.panels, thinner.median_microns, thicker.median_microns)
