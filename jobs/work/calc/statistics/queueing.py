"""What a load means for waiting: the M/M/c queue, in closed form.

It assumes cars that come at random, work whose length is random (exponential), equally able people
who each take the next car of one line, one person a car, and no closing hour. A workshop is none of
that exactly: the figures say how waiting grows with the load, not what the next car will meet.
"""

from dataclasses import dataclass

# From this load on the work counts as more than there are hours for. A line at 98 % takes about
# 1 / (1 - sqrt(0.98))^2 = 9,900 cars to settle (the relaxation time of M/M/1, from memory: Cohen,
# The Single Server Queue, 1969), which is years of a workshop, and the hours that are set are not
# known to one part in fifty either. Until then waiting only grows, so a settled wait says nothing.
FULL_LOAD = 0.98


@dataclass(frozen=True, slots=True)
class Queue:
    """A queue that has settled; times in the unit in which the rates were given.

    `load` is the share of their time that the people are busy, `empty` the probability that no car
    is there, `waiting` and `inside` mean numbers of cars (Lq and L), `wait` and `time` the mean
    time a car waits and is there in all (Wq and W).
    """

    load: float
    empty: float
    waiting: float
    inside: float
    wait: float
    time: float


def queue(*, arrivals: float, services: float, people: int) -> Queue:
    """Return the M/M/c queue of `people` who each finish `services` cars a unit of time.

    Erlang's delay formula, as in Bronson, Operations Research (1982), chapter on multiple servers,
    and in any textbook; with one person it is M/M/1. Raises ValueError where no queue settles:
    rates that are not positive, nobody there, or as much work as the people can do, or more.
    """
    if arrivals <= 0 or services <= 0 or people < 1:
        raise ValueError("Rates must be positive, and somebody must be there.")
    offered = arrivals / services
    load = offered / people
    if load >= 1:
        raise ValueError("The work comes as fast as it is done, or faster: the line never ends.")
    term, terms = 1.0, 1.0
    for busy in range(1, people):
        term *= offered / busy
        terms += term
    all_busy = term * offered / people / (1 - load)
    empty = 1 / (terms + all_busy)
    waiting = empty * all_busy * load / (1 - load)
    wait = waiting / arrivals
    return Queue(load, empty, waiting, waiting + offered, wait, wait + 1 / services)
