"""How long work takes at a workshop: standard minutes, and what its own finished work says of them.

log(minutes / standard minutes) = log of our factors for size and dirt
    + workshop + operation + body size + soiling + person + car + error

The effect of a car is all that its tasks have in common beyond what is known of it: it is worse
than it looked, or the day was. How far cars lie apart is learnt too (calc/statistics/clusters.py);
the effects of single cars are not kept.

Every term is normal, so minutes are log-normal. Before any work is finished the effects are 0, give
or take the spreads below, and the standard minutes speak alone; each finished task moves all the
effects it has a part in, by partial pooling (calc/statistics/pooling.py). What is not known about a
car that is asked about, who will do it, how large or how dirty it is, is taken as a mixture of what
came here so far.
"""

from collections.abc import Hashable, Sequence
from dataclasses import dataclass
from enum import IntEnum
from math import log, sqrt

from jobs.work.calc.arrays import Floats, np
from jobs.work.calc.minutes.doubt import DOUBTFUL_Z
from jobs.work.calc.minutes.factors import SIZE_FACTORS, SIZE_SHARE, SOILING_FACTORS, SOILING_SHARE
from jobs.work.calc.stages.machine import Stage
from jobs.work.calc.statistics.log_normal import Drawn, LogNormal, drawn
from jobs.work.calc.statistics.pooling import Beliefs, Observed, Posterior, pooled

LIKELY, FOUR_OF_FIVE = 0.5, 0.8


class Term(IntEnum):
    """What the minutes hang on, beside chance."""

    WORKSHOP = 0
    OPERATION = 1
    BODY_SIZE = 2
    SOILING = 3
    PERSON = 4


# The terms that we have factors for, and the logarithms of these.
_FACTORS: dict[Term, dict[object, float]] = {
    Term.BODY_SIZE: {size: log(factor) for size, factor in SIZE_FACTORS.items()},
    Term.SOILING: {level: log(factor) for level, factor in SOILING_FACTORS.items()},
}
_OURS = tuple(_FACTORS)
# Spreads before anything is known, as standard deviations of logarithms: a workshop is ordinarily
# within a fifth of our standard, one of its operations within a third of what that makes, a single
# car within a fifth of that, and a single task within two fifths of it all. Our own, no source.
BELIEFS = Beliefs(spreads=(0.20, 0.30, 0.10, 0.15, 0.15), error=0.36, shared=0.20)
# How far our own factors lie apart over the cars that usually come, where one is not known.
UNKNOWN = (0.0, 0.0, 0.17, 0.25, 0.0)


@dataclass(frozen=True, slots=True)
class Work:
    """One operation on one car; what is left empty is not known."""

    operation: str
    standard_minutes: int
    stage: Stage
    body_size: str = ""
    soiling: int | None = None
    person: str = ""

    @property
    def keys(self) -> tuple[object, ...]:
        """Return the group it belongs to in each term; empty where it is not known."""
        return ("", self.operation, self.body_size, self.soiling or "", self.person)

    @property
    def weights(self) -> tuple[float, ...]:
        """Return how much it feels of each term."""
        return (1.0, 1.0, SIZE_SHARE.get(self.stage, 1.0), SOILING_SHARE.get(self.stage, 1.0), 1.0)


@dataclass(frozen=True, slots=True)
class Done:
    """A finished task and the minutes it took, above 0; `car` is None where it is not known."""

    work: Work
    minutes: int
    car: Hashable = None


@dataclass(frozen=True, slots=True)
class Forecast:
    """Minutes that are likely (as often less as more), and that four of five stay within.

    `observations` says how much the workshop's history says: as much about the mean of this very
    work as so many finished tasks of the same kind would, 0 where the standard speaks alone.
    """

    likely: float
    four_of_five: float
    observations: float


@dataclass(frozen=True, slots=True)
class _Mixture:
    """A term that is not known: shares of the groups so far, their mean and what lies between."""

    shares: Floats
    mean: float
    between: float


@dataclass(frozen=True, slots=True)
class Learnt:
    """What a workshop's finished work says; made by `learn`."""

    posterior: Posterior
    mixtures: Sequence[_Mixture]
    finished: int

    def of_task(self, work: Work) -> LogNormal:
        """Return how long one task takes, the uncertainty about its mean included.

        Raises ValueError for standard minutes that are not above 0, as the others here do.
        """
        means, covariance, _ = self._foretold([work])
        return LogNormal(float(means[0]), sqrt(covariance[0, 0]))

    def tasks(self, works: Sequence[Work]) -> list[Forecast]:
        """Return a forecast for each task."""
        means, covariance, observations = self._foretold(works)
        times = map(LogNormal, means.tolist(), np.sqrt(np.diag(covariance)).tolist())
        return [
            Forecast(time.quantile(LIKELY), time.quantile(FOUR_OF_FIVE), count)
            for time, count in zip(times, observations.tolist(), strict=True)
        ]

    def job(self, works: Sequence[Work]) -> Forecast:
        """Return a forecast for all of one car's tasks together, done by one person.

        Their minutes hang together, since they share the workshop, the car and the person. The
        order of the tasks moves nothing, and another task never makes it shorter.
        `observations` is the mean over the tasks, each counting with its share of the minutes.
        """
        return self.left(works, [0.0] * len(works))[1]

    def left(
        self, works: Sequence[Work], worked: Sequence[float]
    ) -> tuple[list[Forecast], Forecast]:
        """Return what each of a car's open tasks still takes, and all together.

        `worked`: the minutes worked on each so far, 0 where it is not begun. A task takes longer
        than what was worked on it, which is not in the forecast any more; so the rest shrinks by
        less than what is worked, and grows again where a task takes long for its kind. A car that
        is worse than it looked on one task is so on the others. Minutes that would be asked about
        (calc/minutes/doubt.py) are a clock that was forgotten: they say no more than the last
        that would not. `worked` has as many values as `works`, else this raises ValueError.
        """
        if not works:
            return [], Forecast(0.0, 0.0, 0.0)
        pairs = list(zip(works, worked, strict=True))
        key = [(work.standard_minutes, repr(work), minutes) for work, minutes in pairs]
        order = sorted(range(len(works)), key=key.__getitem__)
        drawing, means, observations = self._drawn([pairs[nth] for nth in order])
        count = float(np.average(observations, weights=np.exp(means)))
        likely, within = drawing.together((LIKELY, FOUR_OF_FIVE))
        whole = Forecast(likely, within, count)
        if any(worked):
            times = zip(drawing.each((LIKELY, FOUR_OF_FIVE)), observations.tolist(), strict=True)
            each = [Forecast(likely, within, count) for (likely, within), count in times]
        else:  # then each is known in closed form
            each = self.tasks([works[nth] for nth in order])
        return [each[order.index(nth)] for nth in range(len(works))], whole

    def _drawn(self, pairs: Sequence[tuple[Work, float]]) -> tuple[Drawn, Floats, Floats]:
        """Return tasks drawn, less what was worked, their logarithms, and how much is known."""
        means, covariance, observations = self._foretold([work for work, _ in pairs])
        most = np.exp(means + DOUBTFUL_Z * np.sqrt(np.diag(covariance)))
        worked = np.minimum([minutes for _, minutes in pairs], most)
        return drawn(means, covariance, worked), means, observations

    def _foretold(self, works: Sequence[Work]) -> tuple[Floats, Floats, Floats]:
        """Return mean and covariance of the logarithms of minutes, and how much history says."""
        known = self.posterior
        rows = np.zeros((len(works), known.means.size))
        means = np.array([log(work.standard_minutes) for work in works])
        loose = np.zeros((len(works), len(works)))
        unseen = np.zeros(len(works))
        for term in Term:
            parts = [self._part(term, work.keys[term], work.weights[term]) for work in works]
            for nth, part in enumerate(parts):
                rows[nth] += part.row
                means[nth] += part.mean
            deviations = np.array([sqrt(part.variance) for part in parts])
            unseen += [part.variance if part.unseen else 0.0 for part in parts]
            groups = [work.keys[term] for work in works]
            alike = np.array([[first == second for second in groups] for first in groups])
            loose += np.outer(deviations, deviations) * alike
        errors = np.array([known.errors.get(work.operation, known.error) for work in works])
        covariance = rows @ known.covariance @ rows.T
        spreads = np.repeat(known.spreads, [len(own) for own in known.columns])
        before = rows**2 @ spreads + unseen
        after = np.diag(covariance) + unseen
        observations = np.clip((errors + known.shared) * (1 / after - 1 / before), 0, None)
        scatter = known.shared + np.diag(errors)
        return means + rows @ known.means, covariance + loose + scatter, observations

    def _part(self, term: Term, key: object, weight: float) -> "_Part":
        """Return what one term adds to one task."""
        known = self.posterior
        row = np.zeros(known.means.size)
        if key == "" and term is not Term.WORKSHOP:
            mixture = self.mixtures[term]
            return _Part(
                weight * mixture.shares, weight * mixture.mean, weight**2 * mixture.between
            )
        offset = weight * _offset(term, key)
        if key not in known.columns[term]:
            return _Part(row, offset, weight**2 * float(known.spreads[term]), unseen=True)
        row[known.columns[term][key]] = weight
        return _Part(row, offset, 0.0)


@dataclass(frozen=True, slots=True)
class _Part:
    """What a term adds: a row over the effects, our factor, variance that is in no effect.

    `unseen`: that variance is of a group without any history, not of a mixture.
    """

    row: Floats
    mean: float
    variance: float
    unseen: bool = False


def learn(done: Sequence[Done]) -> Learnt:
    """Learn from a workshop's finished tasks; from none at all, the standard minutes remain.

    The order of the tasks moves nothing. One whose car is not known counts as on a car of its own.

    Raises ValueError for minutes and standard minutes that are not above 0, for they have no
    logarithm.
    """
    done = sorted(done, key=_place)
    keys = [task.work.keys for task in done]
    weights = np.array([task.work.weights for task in done]).reshape(len(done), len(Term))
    # The logarithm of how many times the standard and our factors each took.
    ratios = [log(task.minutes) - log(task.work.standard_minutes) for task in done]
    offsets = np.array([_offsets(task.work) for task in done]).reshape(len(done), len(_OURS))
    values = np.array(ratios) - (weights[:, _OURS] * offsets).sum(axis=1)
    cars = [object() if task.car is None else task.car for task in done]
    observed = Observed(keys, weights, values, kind=Term.OPERATION, clusters=cars)
    known = pooled(observed, BELIEFS)
    mixtures = [_mixture(known, term, len(done)) for term in Term]
    return Learnt(known, mixtures, len(done))


def _place(task: Done) -> tuple[str | int, ...]:
    """Return what the history is sorted by, so that its order moves nothing, not even rounding."""
    work = task.work
    return (
        *(work.operation, work.standard_minutes, work.stage.value),
        *(work.body_size, work.soiling or 0, work.person),
        *(task.minutes, str(task.car)),
    )


def _offsets(work: Work) -> tuple[float, ...]:
    return tuple(_offset(term, work.keys[term]) for term in _OURS)


def _offset(term: Term, key: object) -> float:
    """Return the logarithm of our own factor for a size or a level of dirt."""
    return _FACTORS[term].get(key, 0.0) if term in _FACTORS else 0.0


def _mixture(known: Posterior, term: Term, count: int) -> _Mixture:
    """Return a term as it came so far, with the weight of one task for a group never seen."""
    shares = np.zeros(known.means.size)
    offsets = np.zeros(known.means.size)
    for key, column in known.columns[term].items():
        shares[column] = known.counts[column] / (count + 1)
        offsets[column] = _offset(term, key)
    values = offsets + known.means
    mean = float(shares @ values)
    # The law of total variance: what lies between the groups, whichever of them it will be.
    squares = shares @ (values**2 + np.diag(known.covariance))
    squares += (1 - shares.sum()) * (known.spreads[term] + UNKNOWN[term] ** 2)
    between = float(squares) - mean**2 - float(shares @ known.covariance @ shares)
    return _Mixture(shares, float(shares @ offsets), max(between, 0.0))
