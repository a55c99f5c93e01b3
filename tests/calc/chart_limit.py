"""The best that any chart could do: a test that knows everything but when the shift began.

It knows how the cars of a kind hang together (their autocovariances, taken from many of them), the
size of the shift and that it may be up or down; only the level and the place are unknown. By Neyman
and Pearson (1933) nothing shows more shifts at as many false signs than the ratio of likelihoods,
here of normal values and averaged over places and sides.
"""

from random import Random

import numpy as np
from numpy.typing import NDArray

from jobs.work.calc.statistics.lasting_shift import LEAST_BEFORE, LEAST_SINCE
from tests.calc.chart_cars import Make

Floats = NDArray[np.float64]


def limit(
    make: Make, *, cars: int, since: int, size: float, false_signs: float, charts: int = 4000
) -> float:
    """Return the share of shifts, of so many deviations, that the best test shows after `since`."""
    differences = np.diff(np.eye(cars), axis=0)  # the level cancels out
    spread = differences @ _covariances(make, cars) @ differences.T
    begins = [*range(LEAST_BEFORE, cars - LEAST_SINCE + 1)]
    steps = np.array([size * (np.arange(cars) >= place) for place in begins]) @ differences.T
    weights = np.linalg.solve(spread, steps.T)
    draw = np.random.default_rng(1)
    steady = draw.standard_normal((charts, cars - 1)) @ np.linalg.cholesky(spread).T
    shifted = steady + steps[begins.index(cars - since)]
    half = (weights * steps.T).sum(axis=0) / 2
    least = np.quantile(_ratio(steady @ weights, half), 1 - false_signs)
    return float((_ratio(shifted @ weights, half) > least).mean())


def _ratio(fits: Floats, half: Floats) -> Floats:
    """Return the logarithm of the ratio of likelihoods, averaged over steps up and down."""
    both = np.hstack([fits - half, -fits - half])
    ratio: Floats = np.logaddexp.reduce(both, axis=1)
    return ratio


def _covariances(make: Make, cars: int, *, seen: int = 100_000) -> Floats:
    """Return how values of a kind hang together, in their variances."""
    logs = np.log(make(Random(1), seen))
    logs -= logs.mean()
    padded = np.fft.rfft(logs, 2 * seen)
    alike = np.fft.irfft(np.abs(padded) ** 2)[:cars]
    apart = np.abs(np.subtract.outer(np.arange(cars), np.arange(cars)))
    covariances: Floats = (alike / alike[0])[apart]
    return covariances
