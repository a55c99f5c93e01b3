"""Values that come in clusters, as the tasks of one car do, and what those of a cluster share.

Each cluster has an effect of its own, normal about 0, that all its values feel alike: a car that is
worse than it looked, a day when everything took longer. However many clusters there are, their
effects are integrated out, so that only those of the groups are solved for: the mixed model of
Laird & Ware, "Random-Effects Models for Longitudinal Data", Biometrics 38 (1982), from memory.
"""

from collections.abc import Hashable, Sequence
from dataclasses import dataclass

from jobs.work.calc.arrays import Floats, Ints, np

# As a standard deviation of logarithms: clusters are not believed to lie further apart, and up to
# there any distance is as likely as any other. Our own choice.
MOST_SHARED = 0.8
# What was believed before weighs as if so many clusters had been seen. Our own choice.
PRIOR_CLUSTERS = 2
_POINTS = 11
# A deviation this much less likely than the likeliest is not looked at any more.
_UNLIKELY = 1e-3


@dataclass(frozen=True, slots=True)
class Clusters:
    """Which values belong together: the cluster of each, and how to add up by cluster."""

    of_value: Ints
    count: int
    order: Ints
    starts: Ints

    def sums(self, values: Floats) -> Floats:
        """Return the sum of the values, or of each of their columns, by cluster."""
        if not self.count:
            return np.zeros((0, *values.shape[1:]))
        found: Floats = np.add.reduceat(values[self.order], self.starts, axis=0)
        return found


def clusters_of(names: Sequence[Hashable]) -> Clusters:
    """Return the clusters of values by the name of each value's cluster."""
    known: dict[Hashable, int] = {}
    of_value = np.array([known.setdefault(name, len(known)) for name in names], dtype=np.int64)
    order = np.argsort(of_value, kind="stable")
    starts = np.searchsorted(of_value[order], np.arange(len(known)))
    return Clusters(of_value, len(known), order, starts)


@dataclass(frozen=True, slots=True)
class Equations:
    """The normal equations of the groups' effects, and what each cluster adds to them.

    `precision` and `pull` take the values as if clusters had no effect. By cluster: `felt`, how
    much of each group's effect its values feel, `certain`, their precisions, and `pulled`, their
    values, each times the precision.
    """

    precision: Floats
    pull: Floats
    felt: Floats
    certain: Floats
    pulled: Floats

    def unsure(self, shared: float) -> Floats:
        """Return the variance of each cluster's effect, were the groups' known; `shared` before."""
        found: Floats = shared / (1 + shared * self.certain)
        return found

    def integrated(self, shared: float) -> tuple[Floats, Floats]:
        """Return precision and pull of the groups' effects, the clusters' integrated out."""
        weighed = self.felt * self.unsure(shared)[:, None]
        return self.precision - self.felt.T @ weighed, self.pull - weighed.T @ self.pulled

    def log_likelihood(self, shared: float) -> float:
        """Return how likely the values are, all effects integrated out, but for a constant."""
        precision, pull = self.integrated(shared)
        fit = pull @ np.linalg.solve(precision, pull) + self.unsure(shared) @ self.pulled**2
        size = np.log1p(shared * self.certain).sum() + np.linalg.slogdet(precision)[1]
        return float(fit - size) / 2


def equations_of(
    rows: Floats, values: Floats, certainty: Floats, prior: Floats, clusters: Clusters
) -> Equations:
    """Return the normal equations of values that feel effects by `rows`.

    `certainty` is the precision of each value, `prior` that of each effect before.
    """
    weighed = rows * certainty[:, None]
    return Equations(
        precision=rows.T @ weighed + np.diag(prior),
        pull=weighed.T @ values,
        felt=clusters.sums(weighed),
        certain=clusters.sums(certainty),
        pulled=clusters.sums(certainty * values),
    )


@dataclass(frozen=True, slots=True)
class Spread:
    """How far clusters lie apart: the mean of its variance, and between which deviations it is."""

    variance: float
    bounds: tuple[float, float] = (0.0, MOST_SHARED)


def spread_of(equations: Equations, before: Spread, believed: float) -> Spread:
    """Return how far clusters lie apart, by the values and by what was believed before.

    The variance is the mean over all deviations that the values leave possible, not the likeliest
    one: a few clusters do not say how unlike they are, and what is short of it keeps too few of the
    promises that are made of it. `before` narrows down where to look, `believed` is the deviation
    that counts where there are no clusters.
    """
    deviations = np.linspace(*before.bounds, _POINTS)
    likely = np.array([equations.log_likelihood(deviation**2) for deviation in deviations.tolist()])
    weights = np.exp(likely - likely.max())
    kept = deviations[weights > _UNLIKELY * weights.max()]
    step = float(deviations[1] - deviations[0])
    bounds = max(float(kept[0]) - step, 0.0), min(float(kept[-1]) + step, MOST_SHARED)
    weights[[0, -1]] /= 2  # the trapezoidal rule
    seen = float(weights @ deviations**2 / weights.sum())
    count = equations.certain.size
    variance = (PRIOR_CLUSTERS * believed**2 + count * seen) / (PRIOR_CLUSTERS + count)
    return Spread(variance, bounds)
