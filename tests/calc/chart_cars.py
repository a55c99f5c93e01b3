"""Made-up times of cars for the chart: steady workshops of several kinds, and lasting changes."""

from collections.abc import Callable
from heapq import heapreplace
from math import exp, log, sqrt
from random import Random

SPREAD = 0.5  # standard deviation of the logarithms
USUAL_MINUTES = 600.0
OPEN_HOURS, OPEN_DAYS = 9, 5  # from eight to five, Monday to Friday
MEAN_WORK_HOURS = 2.5
SETTLED_CARS = 300  # left out, since the first ones come to an empty workshop
Times = list[float]
Make = Callable[[Random, int], Times]


def alike(draw: Random, count: int) -> Times:
    """Return times of cars that have nothing to do with each other: log-normal."""
    return [draw.lognormvariate(log(USUAL_MINUTES), SPREAD) for _ in range(count)]


def neighbours_alike(draw: Random, count: int, *, by: float = 0.4) -> Times:
    """Return times whose logarithms are a first-order series with this correlation."""
    value, times = draw.gauss(0, 1), []
    for _ in range(count):
        value = by * value + sqrt(1 - by * by) * draw.gauss(0, 1)
        times.append(USUAL_MINUTES * exp(SPREAD * value))
    return times


def over_nights(draw: Random, count: int, *, load: float = 0.6, people: int = 2) -> Times:
    """Return minutes from arrival to ready at a workshop that is shut at night and at weekends.

    Cars come at random while it is open, in one line; work of log-normal length
    stops at closing time and goes on in the morning. In the order in which cars were ready.
    """
    between = MEAN_WORK_HOURS / load / people
    arrived, free = 0.0, [0.0] * people
    stays = []
    for _ in range(count + SETTLED_CARS):
        arrived += draw.expovariate(1 / between)
        work = draw.lognormvariate(log(MEAN_WORK_HOURS) - SPREAD**2 / 2, SPREAD)
        ready = max(arrived, free[0]) + work
        heapreplace(free, ready)
        stays.append((ready, arrived))
    return [60 * (on_the_wall(ready) - on_the_wall(came)) for ready, came in sorted(stays)][
        SETTLED_CARS:
    ]


def on_the_wall(open_hours: float) -> float:
    """Return the hours of a week's clock after so many hours of being open."""
    day, hour = divmod(open_hours, OPEN_HOURS)
    week, weekday = divmod(day, OPEN_DAYS)
    return (week * 7 + weekday) * 24 + 8 + hour


def deviation(make: Make, *, seed: int = 1, count: int = 4000) -> float:
    """Return the standard deviation of the logarithms of such times."""
    logs = [log(time) for time in make(Random(seed), count)]
    mean = sum(logs) / count
    return sqrt(sum((value - mean) ** 2 for value in logs) / count)
