"""What the tasks of one car have in common beyond what is known of it: a bad car, a slow day.

The scatter of a car's tasks about what they were expected to take is partly one and the same: a car
that is worse than it looked, a day when everything took longer. Left out, a job's four-in-five was
kept by 74 to 78 % of jobs.
"""

from collections.abc import Hashable, Sequence

import numpy as np

from jobs.calc.shrinkage import Floats

# Which share of a task's scatter, as variance, it has in common with the other tasks of its car
# before any is seen, and as if it had been seen on so many tasks. Our own choice, no source.
BELIEVED_SHARE, PRIOR_TASKS = 0.2, 20
_MOST = 0.95


def share_in_common(
    left: Floats, rows: Floats, covariance: Floats, cars: Sequence[Hashable]
) -> float:
    """Return which share of their variance the errors of one car's tasks have in common.

    `left`: what is left over of each task, in its own standard deviations. `rows`: how much it
    feels of each effect, in the same; `covariance` of the effects, since what is left over of two
    tasks also hangs together by how unsure these are. Each pair of a car's tasks counts, and a car
    as much as it has tasks (intraclass correlation, Fisher 1925, from memory). One sum over the
    tasks, however many a car has.
    """
    places: dict[Hashable, int] = {}
    at = np.array([places.setdefault(car, len(places)) for car in cars], dtype=np.int64)
    tasks = np.bincount(at, minlength=len(places)).astype(float)
    sums = np.bincount(at, weights=left, minlength=len(places))
    squares = np.bincount(at, weights=left**2, minlength=len(places))
    felt = np.zeros((len(places), rows.shape[1]))
    np.add.at(felt, at, rows)
    alone = np.bincount(at, weights=_spread(rows, covariance), minlength=len(places))
    pairs = sums**2 - squares + _spread(felt, covariance) - alone
    several = tasks > 1
    seen = float((pairs[several] / (tasks[several] - 1)).sum())
    counted = float(tasks[several].sum())
    share = (PRIOR_TASKS * BELIEVED_SHARE + seen) / (PRIOR_TASKS + counted)
    return min(max(share, 0.0), _MOST)


def _spread(rows: Floats, covariance: Floats) -> Floats:
    """Return the variance that each row has by the covariance."""
    spread: Floats = ((rows @ covariance) * rows).sum(axis=1)
    return spread
