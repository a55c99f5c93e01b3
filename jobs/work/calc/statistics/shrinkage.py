"""Shrinkage: several noisy means are drawn towards their centre, the noisier the more.

Empirical Bayes after Morris, "Parametric Empirical Bayes Inference: Theory and Applications",
Journal of the American Statistical Association 78 (1983), formulas from memory. With equal
variances it is the estimator of James and Stein towards the grand mean that Efron & Morris used
in "Data Analysis Using Stein's Estimator and its Generalizations" (1975).
"""

from collections.abc import Sequence
from dataclasses import dataclass

from jobs.work.calc.arrays import Floats, np

LEAST_GROUPS = 4  # with fewer, how far they lie apart cannot be told from their noise
_ROUNDS = 100
_CLOSE = 1e-12


@dataclass(frozen=True, slots=True)
class Shrunk:
    """What came of it.

    `centre`: their weighted mean. `between`: the variance between them that noise does not
    explain. `factors`: the share of its distance from the centre that each keeps, 0 to 1.
    `values`: where each ends up.
    """

    centre: float
    between: float
    factors: Floats
    values: Floats


def shrink(means: Sequence[float] | Floats, variances: Sequence[float] | Floats) -> Shrunk:
    """Draw means with known variances of their noise towards their centre.

    Raises ValueError for fewer than LEAST_GROUPS means, and for variances that are not positive.
    """
    observed, noise = np.asarray(means, dtype=float), np.asarray(variances, dtype=float)
    count = observed.size
    if count < LEAST_GROUPS or noise.size != count or not (noise > 0).all():
        raise ValueError(f"Give {LEAST_GROUPS} means or more, each with a variance above 0.")
    between, centre = float(noise.mean()), 0.0
    for _ in range(_ROUNDS):
        weights = 1 / (noise + between)
        centre = float(weights @ observed / weights.sum())
        spread = count / (count - 1) * (observed - centre) ** 2 - noise
        before, between = between, max(0.0, float(weights @ spread / weights.sum()))
        if abs(between - before) <= _CLOSE * (between + noise.mean()):
            break
    # (k - 3) / (k - 1): the spread was estimated, so the noise must not be trusted to the full.
    lost = (count - 3) / (count - 1) * noise / (noise + between)
    factors = 1 - lost
    return Shrunk(centre, between, factors, centre + factors * (observed - centre))
