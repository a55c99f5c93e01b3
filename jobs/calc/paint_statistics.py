"""The statistics of film thickness: mean and deviation of a spot, and the robust test of a panel.

Values in microns. The robust test is the modified z-score of Iglewicz & Hoaglin, "How to Detect
and Handle Outliers" (1993), also in the NIST/SEMATECH e-Handbook 1.3.5.17 (both from memory).
"""

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


def mean(readings: Sequence[float]) -> float:
    """Return the arithmetic mean. Raises ValueError for no readings."""
    if not readings:
        raise ValueError("There is no mean of no readings.")
    return float(statistics.mean(readings))


def standard_deviation(readings: Sequence[float]) -> float:
    """Return the sample standard deviation (n - 1), 0 for a single reading."""
    return float(statistics.stdev(readings)) if len(readings) > 1 else 0.0


def median(values: Collection[float]) -> float:
    """Return the median. Raises ValueError for no values."""
    if not values:
        raise ValueError("There is no median of no values.")
    return float(statistics.median(values))


def median_absolute_deviation(values: Collection[float]) -> float:
    """Return the median of the distances from the median, unscaled."""
    middle = median(values)
    return median([abs(value - middle) for value in values])


def modified_z(values: Sequence[float]) -> list[float]:
    """Return the modified z-score of each value: 0.6745 (x - median) / MAD.

    Where the MAD is zero (more than half of the values equal) the mean absolute deviation takes
    its place, (x - median) / (1.253314 MeanAD), as Iglewicz & Hoaglin propose; where that is zero
    as well all values are equal, and every score is 0.
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
        """Say whether a value is too high for an ordinary panel of this car."""
        above = microns - self.median_microns
        return above > min(OUTLIER_Z * self.spread_microns, SERIES_WIDTH_MICRONS)

    def stands_below(self, microns: float) -> bool:
        """Say whether a value is too low for an ordinary panel of this car."""
        return self.score(microns) < -OUTLIER_Z


def baseline_of(values: Mapping[str, float]) -> Baseline:
    """Return the baseline of the values as they are, nothing put aside."""
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
