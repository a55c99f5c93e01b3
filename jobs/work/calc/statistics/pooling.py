"""Partial pooling: effects of many groups, each drawn towards nothing as far as it is not known.

A linear model with normal effects and errors, as in Gelman & Hill, "Data Analysis Using Regression
and Multilevel/Hierarchical Models" (2007), chapters 12 and 13, with the posterior in closed form.
How far the groups of a family lie apart, and how far single values scatter, is estimated from the
data by empirical Bayes (calc/statistics/shrinkage.py) and weighed against what was believed before.
What the values of one cluster share (calc/statistics/clusters.py) is told from their own scatter,
so that ten values of one car say less about a group than ten of ten cars.
"""

from collections.abc import Hashable, Sequence
from dataclasses import dataclass

from jobs.work.calc.arrays import Floats, Ints, np
from jobs.work.calc.statistics.clusters import (
    Clusters,
    Equations,
    Spread,
    clusters_of,
    equations_of,
    spread_of,
)
from jobs.work.calc.statistics.shrinkage import LEAST_GROUPS, shrink

# Five rounds bring the spreads within a percent of where they settle.
_ROUNDS = 5
# How much the beliefs weigh: as if so many groups of each family, so many values, and, for the
# scatter of one kind of value, so many of it had been seen before. Our own choice.
PRIOR_GROUPS = 5
PRIOR_VALUES = 20
PRIOR_OF_A_KIND = 15


@dataclass(frozen=True, slots=True)
class Beliefs:
    """Standard deviations before anything is seen: of each family's effects, and of the error.

    `shared`: of what the values of one cluster have in common; 0 where they share nothing. Raises
    ValueError for another one that is not above 0: nothing could be learnt of it.
    """

    spreads: Sequence[float]
    error: float
    shared: float = 0.0

    def __post_init__(self) -> None:
        if min(*self.spreads, self.error) <= 0 or self.shared < 0:
            raise ValueError("Each standard deviation must be above 0.")


@dataclass(frozen=True, slots=True)
class Observed:
    """What was seen.

    For each value and family the group it belongs to (`keys`) and how much of the group's effect
    it feels (`weights`), and its cluster. Values of one kind, which is their key in the family
    `kind`, scatter alike.
    """

    keys: Sequence[Sequence[Hashable]]
    weights: Floats
    values: Floats
    kind: int
    clusters: Sequence[Hashable]


@dataclass(frozen=True, slots=True)
class Posterior:
    """What is known afterwards.

    `columns` says for each family where a group's effect stands in `means` and `covariance`;
    `spreads`, `error` and `shared` are variances, `errors` those of each kind seen.
    """

    columns: Sequence[dict[Hashable, int]]
    counts: Floats
    means: Floats
    covariance: Floats
    spreads: Floats
    error: float
    errors: dict[Hashable, float]
    shared: float


@dataclass(slots=True)
class _Design:
    """Where every value's effects stand, and the variances as estimated so far."""

    columns: list[dict[Hashable, int]]
    family_of: Ints
    at: Ints
    weights: Floats
    rows: Floats
    values: Floats
    kinds: Ints
    kind_size: Floats
    clusters: Clusters
    spreads: Floats
    error: float
    errors: Floats
    shared: Spread


@dataclass(frozen=True, slots=True)
class _Solved:
    """What is known of all effects, given the variances.

    By cluster: the mean of its effect, its variance were the groups' effects known, and how much
    it would take of each of these.
    """

    means: Floats
    covariance: Floats
    of_clusters: Floats
    unsure: Floats
    taken: Floats


def pooled(observed: Observed, beliefs: Beliefs) -> Posterior:
    """Return what the values say about every group that occurs in them; there may be none."""
    design = _design(observed, beliefs)
    solved = _solve(design)
    if observed.values.size:
        for _ in range(_ROUNDS):
            _estimate_errors(design, solved, beliefs)
            _estimate_spreads(design, solved, beliefs)
            _estimate_shared(design, beliefs)
            solved = _solve(design)
    kinds = design.columns[observed.kind]
    return Posterior(
        columns=design.columns,
        counts=np.bincount(design.at.ravel(), minlength=solved.means.size).astype(float),
        means=solved.means,
        covariance=solved.covariance,
        spreads=design.spreads,
        error=design.error,
        errors={key: float(design.errors[nth]) for nth, key in enumerate(kinds)},
        shared=design.shared.variance,
    )


def _design(observed: Observed, beliefs: Beliefs) -> _Design:
    families = len(beliefs.spreads)
    columns: list[dict[Hashable, int]] = []
    at = np.empty((len(observed.keys), families), dtype=np.int64)
    used = 0
    for family in range(families):
        own = {key: used + nth for nth, key in enumerate(dict.fromkeys(
            row[family] for row in observed.keys
        ))}  # fmt: skip
        at[:, family] = [own[row[family]] for row in observed.keys]
        columns.append(own)
        used += len(own)
    rows = np.zeros((len(observed.keys), used))
    np.put_along_axis(rows, at, observed.weights, axis=1)
    first = next(iter(columns[observed.kind].values()), 0)
    kinds = at[:, observed.kind] - first
    return _Design(
        columns=columns,
        family_of=np.repeat(np.arange(families), [len(own) for own in columns]),
        at=at,
        weights=observed.weights,
        rows=rows,
        values=observed.values,
        kinds=kinds,
        kind_size=np.bincount(kinds, minlength=len(columns[observed.kind])).astype(float),
        clusters=clusters_of(observed.clusters),
        spreads=np.square(np.asarray(beliefs.spreads, dtype=float)),
        error=beliefs.error**2,
        errors=np.full(len(columns[observed.kind]), beliefs.error**2),
        shared=Spread(beliefs.shared**2),
    )


def _equations(design: _Design) -> Equations:
    certainty = 1 / design.errors[design.kinds]
    prior = 1 / design.spreads[design.family_of]
    return equations_of(design.rows, design.values, certainty, prior, design.clusters)


def _solve(design: _Design) -> _Solved:
    """Return mean and covariance of all effects, given the variances."""
    equations, shared = _equations(design), design.shared.variance
    precision, pull = equations.integrated(shared)
    covariance = np.asarray(np.linalg.inv(precision), dtype=float)
    means: Floats = covariance @ pull
    unsure = equations.unsure(shared)
    taken = equations.felt * unsure[:, None]
    return _Solved(means, covariance, unsure * equations.pulled - taken @ means, unsure, taken)


def _estimate_errors(design: _Design, solved: _Solved, beliefs: Beliefs) -> None:
    """Estimate how values scatter: all of them, and those of each kind drawn towards that.

    Each counts with what is left over, squared, and with how unsure its effects are: the step of
    Dempster, Laird & Rubin (1977) for this model.
    """
    own = design.clusters.of_value
    left = design.values - design.rows @ solved.means - solved.of_clusters[own]
    felt = design.rows - solved.taken[own]
    unsure = ((felt @ solved.covariance) * felt).sum(axis=1) + solved.unsure[own]
    squares = np.square(left) + unsure
    known = PRIOR_VALUES * beliefs.error**2
    design.error = float(known + squares.sum()) / (PRIOR_VALUES + squares.size)
    by_kind = np.bincount(design.kinds, weights=squares, minlength=design.errors.size)
    pull = PRIOR_OF_A_KIND * design.error
    design.errors = (pull + by_kind) / (PRIOR_OF_A_KIND + design.kind_size)


def _estimate_spreads(design: _Design, solved: _Solved, beliefs: Beliefs) -> None:
    """Estimate for each family how far its groups lie apart, where it has enough of them."""
    certainty = 1 / design.errors[design.kinds]
    left = design.values - design.rows @ solved.means
    size = design.family_of.size
    for family in range(len(beliefs.spreads)):
        at, felt = design.at[:, family], design.weights[:, family]
        known = np.bincount(at, weights=certainty * felt**2, minlength=size).astype(float)
        mine = known > 0
        groups = int(mine.sum())
        if groups < LEAST_GROUPS:
            continue
        counts = certainty * felt / known[at]
        alone = left + felt * solved.means[at]  # what the other families leave to this one
        means = np.bincount(at, weights=counts * alone, minlength=size)[mine].astype(float)
        noise = 1 / known[mine] + _noise_of_clusters(design, at, counts)[mine]
        between = shrink(means, noise).between
        believed = PRIOR_GROUPS * beliefs.spreads[family] ** 2
        design.spreads[family] = (believed + (groups - 1) * between) / (PRIOR_GROUPS + groups - 1)


def _noise_of_clusters(design: _Design, at: Ints, counts: Floats) -> Floats:
    """Return the variance that the clusters leave in the mean of each group, where values count.

    What those of a cluster share does not average out among them.
    """
    pairs = at * design.clusters.count + design.clusters.of_value
    places, nth = np.unique(pairs, return_inverse=True)
    squares = np.bincount(nth, weights=counts) ** 2
    groups = places // design.clusters.count
    sums = np.bincount(groups, weights=squares, minlength=design.family_of.size)
    return np.asarray(design.shared.variance * sums, dtype=float)


def _estimate_shared(design: _Design, beliefs: Beliefs) -> None:
    """Estimate how far clusters lie apart, where their values are believed to share anything."""
    if beliefs.shared:
        design.shared = spread_of(_equations(design), design.shared, beliefs.shared)
