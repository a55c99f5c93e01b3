"""Learning from 2,000 finished tasks against one least-squares fit of the same size."""

import time
from collections.abc import Callable
from math import log

import numpy as np

from jobs.work.calc.minutes.durations import Done, learn
from jobs.work.selectors.minutes import NEWEST_TASKS
from tests.bench.report import Ratio
from tests.calc.test_durations_experiment import Workshop
from tests.calc.test_job_experiment import cars_of

ROUNDS = 15
CARS = 600  # more than fill the newest tasks
WANTED = 0.1


def measure() -> list[Ratio]:
    """Return our rate against the bare fit's: the same tasks, by turns, nothing else running."""
    done = [task for car in cars_of(Workshop(5), CARS, 0.3, 0.0) for task in car][:NEWEST_TASKS]
    pairs = []
    for _ in range(ROUNDS):
        base = seconds(lambda: bare(done))
        pairs.append((1 / seconds(lambda: learn(done)), 1 / base))
    return [
        Ratio(f"learning from {len(done):,} tasks", "one least-squares fit of them", pairs, WANTED)
    ]


def bare(done: list[Done]) -> np.ndarray:
    """Return every group's effect by plain least squares, the rows made from the tasks."""
    columns: dict[tuple[int, object], int] = {}
    for task in done:
        for pair in enumerate(task.work.keys):
            columns.setdefault(pair, len(columns))
    rows = np.zeros((len(done), len(columns)))
    for nth, task in enumerate(done):
        rows[nth, [columns[pair] for pair in enumerate(task.work.keys)]] = task.work.weights
    values = np.array([log(task.minutes / task.work.standard_minutes) for task in done])
    return np.asarray(np.linalg.lstsq(rows, values, rcond=None)[0])


def seconds(work: Callable[[], object]) -> float:
    """Return how long something takes."""
    began = time.perf_counter()
    work()
    return time.perf_counter() - began
