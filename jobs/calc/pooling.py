"""Partial pooling: effects of many groups, each drawn towards nothing as far as it is not known.

A linear model with normal effects and errors, as in Gelman & Hill, "Data Analysis Using Regression
and Multilevel/Hierarchical Models" (2007), chapters 12 and 13, with the posterior in closed form.
How far the groups of a family lie apart, and how far single values scatter, is estimated from the
data by empirical Bayes (jobs/calc/shrinkage.py) and weighed against what was believed before.
"""

from collections.abc import Hashable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from jobs.calc.shrinkage import LEAST_GROUPS, Floats, shrink

Ints = NDArray[np.int64]
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

    Raises ValueError for one that is not above 0: nothing could be learnt of it.
    """

    spreads: Sequence[float]
    error: float

    def __post_init__(self) -> None:
        if min(*self.spreads, self.error) <= 0:
            raise ValueError("Each standard deviation must be above 0.")


@dataclass(frozen=True, slots=True)
class Observed:
    """What was seen.

    For each value and family the group it belongs to (`keys`) and how much of the group's effect
    it feels (`weights`). Values of one kind, which is their key in the family `kind`, scatter
    alike.
    """

    keys: Sequence[Sequence[Hashable]]
    weights: Floats
    values: Floats
    kind: int


@dataclass(frozen=True, slots=True)
class Posterior:
    """What is known afterwards.

    `columns` says for each family where a group's effect stands in `means` and `covariance`;
    `spreads` and `error` are variances, `errors` those of each kind seen.
    """

    columns: Sequence[dict[Hashable, int]]
    counts: Floats
    means: Floats
    covariance: Floats
    spreads: Floats
    error: float
    errors: dict[Hashable, float]


@dataclass(slots=True)
class _Design:
    """Where every value's effects stand, and the variances as estimated so far."""

    families: int
    columns: list[dict[Hashable, int]]
    family_of: Ints
    at: Ints
    weights: Floats
    values: Floats
    kinds: Ints
    kind_size: Floats
    spreads: Floats
    error: float
    errors: Floats


def pooled(observed: Observed, beliefs: Beliefs) -> Posterior:
    """Return what the values say about every group that occurs in them; there may be none."""
    design = _design(observed, beliefs)
    means, covariance = _solve(design)
    if observed.values.size:
        for _ in range(_ROUNDS):
            _estimate_errors(design, means, covariance, beliefs)
            _estimate_spreads(design, means, beliefs)
            means, covariance = _solve(design)
    kinds = design.columns[observed.kind]
    return Posterior(
        columns=design.columns,
        counts=np.bincount(design.at.ravel(), minlength=means.size).astype(float),
        means=means,
        covariance=covariance,
        spreads=design.spreads,
        error=design.error,
        errors={key: float(design.errors[nth]) for nth, key in enumerate(kinds)},
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
    family_of = np.repeat(np.arange(families), [len(own) for own in columns])
    first = next(iter(columns[observed.kind].values()), 0)
    kinds = at[:, observed.kind] - first
    return _Design(
        families=families,
        columns=columns,
        family_of=family_of,
        at=at,
        weights=observed.weights,
        values=observed.values,
        kinds=kinds,
        kind_size=np.bincount(kinds, minlength=len(columns[observed.kind])).astype(float),
        spreads=np.square(np.asarray(beliefs.spreads, dtype=float)),
        error=beliefs.error**2,
        errors=np.full(len(columns[observed.kind]), beliefs.error**2),
    )


def _solve(design: _Design) -> tuple[Floats, Floats]:
    """Return mean and covariance of all effects, given the variances."""
    size = design.family_of.size
    certainty = 1 / design.errors[design.kinds]
    pairs = design.at[:, :, None] * size + design.at[:, None, :]
    felt = design.weights[:, :, None] * design.weights[:, None, :] * certainty[:, None, None]
    seen = np.bincount(pairs.ravel(), weights=felt.ravel(), minlength=size * size)
    precision = seen.reshape(size, size) + np.diag(1 / design.spreads[design.family_of])
    covariance: Floats = np.linalg.inv(precision)
    pull = (design.weights * (certainty * design.values)[:, None]).ravel()
    means: Floats = covariance @ np.bincount(design.at.ravel(), weights=pull, minlength=size)
    return means, covariance


def _left_over(design: _Design, means: Floats) -> Floats:
    left: Floats = design.values - (design.weights * means[design.at]).sum(axis=1)
    return left


def _estimate_errors(design: _Design, means: Floats, covariance: Floats, beliefs: Beliefs) -> None:
    """Estimate how values scatter: all of them, and those of each kind drawn towards that.

    Each counts with what is left over, squared, and with how unsure its effects are: the step of
    Dempster, Laird & Rubin (1977) for this model.
    """
    corner = covariance[design.at[:, :, None], design.at[:, None, :]]
    unsure = np.einsum("ij,ijk,ik->i", design.weights, corner, design.weights)
    squares = np.square(_left_over(design, means)) + unsure
    known = PRIOR_VALUES * beliefs.error**2
    design.error = float(known + squares.sum()) / (PRIOR_VALUES + squares.size)
    by_kind = np.bincount(design.kinds, weights=squares, minlength=design.errors.size)
    pull = PRIOR_OF_A_KIND * design.error
    design.errors = (pull + by_kind) / (PRIOR_OF_A_KIND + design.kind_size)


def _estimate_spreads(design: _Design, means: Floats, beliefs: Beliefs) -> None:
    """Estimate for each family how far its groups lie apart, where it has enough of them."""
    certainty = 1 / design.errors[design.kinds]
    left = _left_over(design, means)
    for family in range(design.families):
        at, felt = design.at[:, family], design.weights[:, family]
        size = design.family_of.size
        known = np.bincount(at, weights=certainty * felt**2, minlength=size)
        alone = left + felt * means[at]  # what the other families leave to this one
        pull = np.bincount(at, weights=certainty * felt * alone, minlength=size)
        mine = known > 0
        groups = int(mine.sum())
        if groups < LEAST_GROUPS:
            continue
        between = shrink(pull[mine] / known[mine], 1 / known[mine]).between
        believed = PRIOR_GROUPS * beliefs.spreads[family] ** 2
        design.spreads[family] = (believed + (groups - 1) * between) / (PRIOR_GROUPS + groups - 1)
