"""Log-normal times, and the quantiles of sums and rests of them that may hang together.

A time is log-normal when its logarithm is normal: it is never negative, and it runs over more
often by far than it falls short. `log_mean` and `log_deviation` are those of the natural logarithm
of minutes, so exp(log_mean) is the median.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from math import erfc, exp, expm1, log, sqrt
from statistics import NormalDist

from jobs.work.calc.arrays import Floats, Ints, np

_NORMAL = NormalDist()
# A prime, and a number whose powers spread the points well over many dimensions: the best of
# sixty tried against simulation.
_POINTS = 4093
_GENERATOR = 3288
_NOTHING_LEFT = 1e-12
_NO_MINUTES = 1e-9
# Standard deviations; further out the share of a normal is no number that a computer has.
_FAR = 37.0


@dataclass(frozen=True, slots=True)
class LogNormal:
    """A log-normal time in minutes; one with a deviation of 0 is always its median."""

    log_mean: float
    log_deviation: float

    @property
    def mean(self) -> float:
        """Return the mean in minutes."""
        return exp(self.log_mean + self.log_deviation**2 / 2)

    @property
    def deviation(self) -> float:
        """Return the standard deviation in minutes."""
        variance = self.log_deviation**2
        return sqrt(expm1(variance)) * exp(self.log_mean + variance / 2)

    def quantile(self, share: float) -> float:
        """Return the minutes within which a share (0 to 1, both left out) of such times stay.

        Raises ValueError for a share that is not between them.
        """
        return exp(self.log_mean + _NORMAL.inv_cdf(share) * self.log_deviation)

    def z_of(self, minutes: float) -> float:
        """Return how many standard deviations the logarithm of minutes lies off.

        Raises ValueError for minutes that are not above 0, and ZeroDivisionError where the
        deviation is 0.
        """
        return (log(minutes) - self.log_mean) / self.log_deviation


@dataclass(frozen=True, slots=True)
class Drawn:
    """Minutes of several times, one column each, at points that count by their weights."""

    minutes: Floats
    weights: Floats

    def each(self, shares: Sequence[float]) -> list[tuple[float, ...]]:
        """Return for each time the minutes within which these shares of it stay."""
        return [self._quantiles(column, shares) for column in self.minutes.T]

    def together(self, shares: Sequence[float]) -> tuple[float, ...]:
        """Return the minutes within which these shares of the sum stay; 0 where nothing is."""
        return self._quantiles(self.minutes.sum(axis=1), shares)

    def _quantiles(self, minutes: Floats, shares: Sequence[float]) -> tuple[float, ...]:
        order = np.argsort(minutes, kind="stable")
        weights = self.weights[order]
        middles = np.cumsum(weights) - weights / 2
        return tuple(np.interp(shares, middles / weights.sum(), minutes[order]).tolist())


def sum_quantiles(
    log_means: Sequence[float] | Floats, covariance: Floats, shares: Sequence[float]
) -> tuple[float, ...]:
    """Return the minutes within which the sum of times that are jointly log-normal stays.

    One quantile for each of `shares` (0 to 1, both left out); the others as in `drawn`.
    """
    return drawn(log_means, covariance).together(shares)


def drawn(
    log_means: Sequence[float] | Floats,
    covariance: Floats,
    worked: Sequence[float] | Floats | None = None,
) -> Drawn:
    """Draw times that are jointly log-normal, or what is left of those that are under way.

    `covariance` is that of the logarithms: errors that several share stand beside the diagonal.
    `worked`: the minutes each has lasted already, 0 where it has not begun. Then what is drawn is
    the time given that it lasts longer than that, less those minutes; and as far as the times hang
    together, one that lasts long makes the others longer. A deviation may be 0, and times may hang
    together wholly. Raises ValueError where they are not as many everywhere.

    No sum has the quantiles of a log-normal: matching two moments (Fenton 1960, Wilkinson) is up to
    6 % off over the jobs that there are, matching three with a moved log-normal 2.5 %. So the
    distribution itself is drawn at the points of a lattice (Korobov 1959, from memory), always the
    same ones, in as many dimensions as there are times; tests/calc/test_log_normal.py holds it
    against simulation. Of several times under way each point weighs what its limits leave of it
    (Geweke 1991, Hajivassiliou and Keane: importance sampling of a truncated normal; from memory).
    """
    means = np.asarray(log_means, dtype=float)
    begun = np.zeros(means.size) if worked is None else np.asarray(worked, dtype=float)
    if covariance.shape != (means.size, means.size) or begun.size != means.size:
        raise ValueError("Give a mean, a row of the covariance and minutes for each time.")
    limits = np.log(np.maximum(begun, _NO_MINUTES))
    order = _order(means, covariance, begun, limits)
    means, covariance = means[order], covariance[np.ix_(order, order)]
    root = _root(covariance)
    normals = np.zeros((_POINTS, means.size))
    chances = np.zeros(_POINTS)  # as logarithms
    for nth, own in enumerate(order):
        places = np.arange(_POINTS) * pow(_GENERATOR, nth, _POINTS) % _POINTS
        if not begun[own]:
            normals[:, nth] = _scores()[places]
            continue
        before = means[nth] + normals[:, :nth] @ root[nth, :nth]
        least = (limits[own] - before) / max(float(root[nth, nth]), _NOTHING_LEFT)
        beyond = _share_beyond(least)
        chances += np.log(beyond)
        normals[:, nth] = _scores_beyond(beyond, places)
    minutes = np.empty_like(normals)
    minutes[:, order] = np.exp(means + normals @ root.T)
    return Drawn(np.maximum(minutes - begun, 0.0), np.exp(chances - chances.max()))


def _order(means: Floats, covariance: Floats, begun: Floats, limits: Floats) -> Ints:
    """Return the order in which times are drawn.

    What is under way comes first, what has lasted longest for its kind before the rest: then the
    points keep their weight. Of the others the longest come first, so that a short one more leaves
    their draws as they were and the sum can only grow; a long one more adds more than the lattice
    is off.
    """
    deviations = np.sqrt(np.maximum(np.diag(covariance), _NOTHING_LEFT))
    least = np.where(begun > 0, (means - limits) / deviations, 0.0)
    return np.lexsort((-means, least, begun == 0))


def _share_beyond(least: Floats) -> Floats:
    """Return how much of a normal lies above each of these; never nothing at all."""
    inner = np.clip(least, -_FAR, _FAR) / sqrt(2)
    return np.array([erfc(value) / 2 for value in inner.tolist()])


def _scores_beyond(beyond: Floats, places: Ints) -> Floats:
    """Return the normal scores of equally likely parts of what lies in the upper share."""
    shares = beyond * ((_POINTS - places - 0.5) / _POINTS)
    return np.array([-_NORMAL.inv_cdf(share) for share in shares.tolist()])


@cache
def _scores() -> Floats:
    """Return the normal scores in the middle of as many equally likely parts as there are points.

    Each dimension of the lattice has all of them, in an order of its own.
    """
    middles = (np.arange(_POINTS) + 0.5) / _POINTS
    return np.array([_NORMAL.inv_cdf(middle) for middle in middles])


def _root(covariance: Floats) -> Floats:
    """Return a matrix whose product with its transpose is the covariance, singular or not.

    It is lower triangular (Cholesky's), so that each time depends on those before it alone; what
    is left of a time that they decide wholly is 0.
    """
    root = np.zeros_like(covariance)
    for nth in range(len(covariance)):
        rest = covariance[nth:, nth] - root[nth:, :nth] @ root[nth, :nth]
        if rest[0] > _NOTHING_LEFT * covariance[nth, nth]:
            root[nth:, nth] = rest / sqrt(rest[0])
    return root
