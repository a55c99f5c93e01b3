"""How well minutes are foretold on made-up workshops, and what partial pooling is worth.

Method. Every workshop is made up from a seed of its own: 14 operations drawn from our list, one to
six people, and effects of workshop, operation, size, soiling and person drawn from normal
distributions as spread as we believe before (calc/minutes/durations.py), or half or twice as
spread. A task has a drawn operation, car and person, and scatters about what these make of it by a
log-normal error, whose deviation is 0.4 give or take a fifth for each operation.

"Within P80" is the share of 60 held-back tasks a workshop that took no longer than four of five
were said to, over 40 workshops. "Nothing known" is the same, asked without size, soiling and
person.

| finished tasks | as we believe | half as spread | twice as spread | nothing known |
| --- | --- | --- | --- | --- |
| 0 | 80.5 % | 86.5 % | 70.4 % | 75.5 % |
| 10 | 80.5 % | 84.3 % | 74.0 % | 79.8 % |
| 30 | 80.1 % | 78.5 % | 79.6 % | 81.4 % |
| 100 | 81.6 % | 80.3 % | 80.1 % | 81.3 % |
| 400 | 80.4 % | 80.4 % | 80.1 % | 80.3 % |

At twice the spread and with little history the P80 is too low: nobody knows yet how unlike our
standard that workshop is. From thirty finished tasks on it is known well enough.

Small samples: an operation the workshop has finished n times, beside 150 tasks of the other
operations. The error is the mean of |foretold - taken| over 20 held-back tasks of that operation,
as a percentage of its standard minutes, over 150 workshops. "Prior alone" is the standard with our
factors for size and dirt. "Raw mean" is the mean of the n, "raw mean by size and dirt" the same
with our factors taken out and put on again. The last column knows how the workshop was made:
nobody can do better.

| n | pooled | prior alone | raw mean | raw mean by size and dirt | the truth |
| --- | --- | --- | --- | --- | --- |
| 1 | 51.4 % | 61.0 % | 72.3 % | 69.9 % | 42.9 % |
| 2 | 49.6 % | 61.0 % | 63.2 % | 58.3 % | 42.9 % |
| 3 | 48.8 % | 61.0 % | 60.4 % | 55.5 % | 42.9 % |
| 5 | 47.3 % | 61.0 % | 58.0 % | 52.7 % | 42.9 % |
| 10 | 45.7 % | 61.0 % | 56.2 % | 50.6 % | 42.9 % |
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from math import exp

import numpy as np
import pytest

from jobs.work.calc.catalogue.operations import OPERATIONS
from jobs.work.calc.minutes.durations import BELIEFS, Done, Learnt, Term, Work, learn
from jobs.work.calc.minutes.factors import SIZE_FACTORS, SIZE_SHARE, SOILING_FACTORS, SOILING_SHARE

SEED = 20270301
WORKSHOPS = 40
HELD_BACK = 60
KINDS = 14
ERROR = 0.4  # of a task, on the scale of logarithms, beyond all that it shares with others
SIZES, SIZE_MIX = tuple(SIZE_FACTORS), (0.25, 0.40, 0.20, 0.10, 0.05)
LEVELS, SOILING_MIX = tuple(SOILING_FACTORS), (0.10, 0.40, 0.30, 0.15, 0.05)
HISTORIES = (0, 10, 30, 100, 400)
SPREADS = (1.0, 0.5, 2.0)
SMALL = (1, 2, 3, 5, 10)
SMALL_WORKSHOPS, ELSEWHERE, SAME = 150, 150, 20


@dataclass(frozen=True, slots=True)
class Made:
    """A task: what is known of it, the median it was made with, and what it took, in minutes."""

    work: Work
    median: float
    minutes: int

    @property
    def done(self) -> Done:
        return Done(self.work, self.minutes)

    @property
    def prior(self) -> float:
        """Return the standard with our factors for size and dirt."""
        return self.work.standard_minutes * factor(self.work)


class Workshop:
    """A made-up workshop; the same seed makes the same one."""

    def __init__(self, number: int, scale: float = 1.0) -> None:
        self.rng = rng = np.random.default_rng([SEED, number, int(10 * scale)])
        chosen = rng.choice(len(OPERATIONS), KINDS, replace=False)
        self.operations = [list(OPERATIONS.values())[nth] for nth in chosen]
        people = int(rng.integers(1, 7))
        counts = (1, KINDS, len(SIZES), len(LEVELS), people)
        self.effects = [
            rng.normal(0, scale * spread, count)
            for spread, count in zip(BELIEFS.spreads, counts, strict=True)
        ]
        self.errors = ERROR * np.exp(rng.normal(0, 0.2, KINDS))
        self.people = people

    def tasks(self, count: int, of: Sequence[int] = tuple(range(KINDS))) -> list[Made]:
        """Return tasks of the operations with these numbers."""
        rng = self.rng
        return [
            self._task(int(kind), int(size), int(level), int(person), float(error))
            for kind, size, level, person, error in zip(
                rng.choice(of, count),
                rng.choice(len(SIZES), count, p=SIZE_MIX),
                rng.choice(len(LEVELS), count, p=SOILING_MIX),
                rng.integers(self.people, size=count),
                rng.normal(size=count),
                strict=True,
            )
        ]

    def _task(self, kind: int, size: int, level: int, person: int, error: float) -> Made:
        operation = self.operations[kind]
        work = Work(
            operation.code,
            operation.standard_minutes,
            operation.stage,
            SIZES[size],
            LEVELS[level],
            f"person {person}",
        )
        groups = (0, kind, size, level, person)
        effect = sum(
            weight * float(self.effects[term][group])
            for term, weight, group in zip(Term, work.weights, groups, strict=True)
        )
        median = work.standard_minutes * factor(work) * exp(effect)
        return Made(work, median, max(1, round(median * exp(error * float(self.errors[kind])))))


def factor(work: Work) -> float:
    size = SIZE_FACTORS[work.body_size] ** SIZE_SHARE[work.stage]
    dirt = SOILING_FACTORS[work.soiling or 0] ** SOILING_SHARE[work.stage]
    return float(size * dirt)


def learnt(tasks: list[Made]) -> Learnt:
    return learn([task.done for task in tasks])


def share_within(history: int, scale: float = 1.0, *, known: bool = True) -> float:
    """Return the share of held-back tasks that stayed within their P80."""
    within = 0
    for number in range(WORKSHOPS):
        workshop = Workshop(number, scale)
        knows = learnt(workshop.tasks(history))
        held = workshop.tasks(HELD_BACK)
        works = [task.work for task in held]
        if not known:
            works = [replace(work, body_size="", soiling=None, person="") for work in works]
        foretold = knows.tasks(works)
        within += sum(
            task.minutes <= expected.four_of_five
            for task, expected in zip(held, foretold, strict=True)
        )
    return within / (WORKSHOPS * HELD_BACK)


@dataclass(frozen=True, slots=True)
class Errors:
    """Mean absolute errors, as shares of the standard minutes."""

    pooled: float
    prior: float
    raw: float
    raw_by_factors: float
    truth: float

    def line(self, count: int) -> str:
        errors = (self.pooled, self.prior, self.raw, self.raw_by_factors, self.truth)
        return f"| {count} | " + " | ".join(f"{100 * error:.1f} %" for error in errors) + " |"


def errors_of(count: int) -> Errors:
    """Return the errors for an operation that was finished so many times."""
    sums = np.zeros(5)
    for number in range(SMALL_WORKSHOPS):
        workshop = Workshop(1000 + number)
        elsewhere = workshop.tasks(ELSEWHERE, range(1, KINDS))
        few, held = workshop.tasks(max(SMALL), [0])[:count], workshop.tasks(SAME, [0])
        knows = learnt(elsewhere + few)
        pooled = [expected.likely for expected in knows.tasks([task.work for task in held])]
        raw = float(np.mean([task.minutes for task in few]))
        rate = float(np.mean([task.minutes / factor(task.work) for task in few]))
        for task, ours in zip(held, pooled, strict=True):
            foretold = np.array([ours, task.prior, raw, rate * factor(task.work), task.median])
            sums += np.abs(foretold - task.minutes) / task.work.standard_minutes
    return Errors(*(sums / (SMALL_WORKSHOPS * SAME)).tolist())


@pytest.fixture(scope="module")
def coverage() -> dict[int, list[float]]:
    return {
        history: [
            *(share_within(history, scale) for scale in SPREADS),
            share_within(history, known=False),
        ]
        for history in HISTORIES
    }


@pytest.fixture(scope="module")
def small() -> dict[int, Errors]:
    return {count: errors_of(count) for count in SMALL}


def test_four_of_five_held_back_tasks_stay_within_the_p80(
    coverage: dict[int, list[float]],
) -> None:
    """77 to 83 % are asked for; workshops unlike what we believe get there with thirty tasks."""
    as_believed = [coverage[history][0] for history in HISTORIES]
    assert all(0.77 <= share <= 0.83 for share in as_believed)
    learnt_from = [share for history in HISTORIES[2:] for share in coverage[history]]
    assert all(0.77 <= share <= 0.83 for share in learnt_from)


def test_pooling_beats_the_prior_alone_and_the_raw_mean_on_small_samples(
    small: dict[int, Errors],
) -> None:
    for errors in small.values():
        assert errors.pooled < errors.prior
        assert errors.pooled < errors.raw
        assert errors.pooled < errors.raw_by_factors
        assert errors.pooled > errors.truth  # else the experiment lets it peep


def test_the_fewer_the_tasks_the_more_pooling_is_worth(small: dict[int, Errors]) -> None:
    gained = [small[count].raw_by_factors - small[count].pooled for count in SMALL]
    assert gained == sorted(gained, reverse=True)


def test_the_tables_say_what_came_of_it(
    coverage: dict[int, list[float]], small: dict[int, Errors]
) -> None:
    lines = [
        f"| {history} | " + " | ".join(f"{100 * share:.1f} %" for share in shares) + " |"
        for history, shares in coverage.items()
    ]
    lines += [errors.line(count) for count, errors in small.items()]
    missing = [line for line in lines if line not in str(__doc__)]
    assert not missing, "\n".join(["Write these into the tables above:", *missing])
