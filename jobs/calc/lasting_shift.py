"""A lasting shift: from which value on a series has another mean, though neighbours are alike.

The cars of one day wait for the same people and the same night, so their times hang together, and
limits made for values that do not would be crossed all the time (Vasilopoulos & Stamboulis,
Journal of Quality Technology 1978, from memory). Here a step in the mean is fitted at every place,
in noise whose neighbours are correlated (generalised least squares after Prais & Winsten 1954),
and the largest counts where it is beyond what chance makes of the largest of so many: the
change-point model with nothing known before (Hawkins, Qiu & Kang, Journal of Quality Technology
2003), more than one of them by cutting the series in two again and again (Vostrikova 1981). All
from memory. How often it errs is counted in tests/calc/test_chart_experiment.py.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from jobs.calc.shrinkage import Floats

# Cars that there must be before a shift and since. Our own choices.
LEAST_BEFORE = 15
LEAST_SINCE = 5
# How far apart cars may be whose times still hang together: about the cars of two days.
_APART = 10
# What the correlation of neighbours is taken to be before any are seen, and how sure that is:
# our own choice, by the experiment. With 100 cars seen it counts for about a third.
_BELIEVED, _BELIEVED_DEVIATION = 0.2, 0.15
_MOST_CORRELATED = 0.9
# By how much, over the number of values, a correlation is found too low where two means are taken
# from the same values (Kendall, Biometrika 1954, from memory, for one mean).
_TOO_LOW = 3.0
_TINY = 1e-12
# Set by the experiment, so that a steady workshop's 100 cars show one in at most one chart of ten;
# the fewer cars, the less is known of how they hang together, and the more it takes.
_CERTAIN, _CERTAIN_OF_FEW = 3.1, 30.0
_PLAIN = 3.0  # where a shift that is certain began to stand out: three errors, as Shewhart has it


@dataclass(frozen=True, slots=True)
class Shift:
    """From `begins` on values are higher (or lower); by `plain_at` that stood out.

    Both are places in the series, and it goes on to the place `until`, left out.
    """

    begins: int
    plain_at: int
    until: int
    higher: bool


Ints = NDArray[np.int64]


def lasting_shifts(values: Sequence[float], *, least_deviation: float) -> list[Shift]:
    """Return the lasting shifts in the order they began.

    `least_deviation`: a standard deviation below it counts as this much, so that of values that
    are all but alike none stands out.
    """
    series = np.asarray(values, dtype=float)
    found = _found(series, 0, len(series), least_deviation)
    ends = [*(one.begins for one in found[1:]), series.size][: len(found)]
    return [replace(one, until=end) for one, end in zip(found, ends, strict=True)]


def _found(series: Floats, start: int, end: int, least: float) -> list[Shift]:
    """Return the largest step of a part, where it is certain, and those of both sides of it."""
    count = end - start
    if count < LEAST_BEFORE + LEAST_SINCE:
        return []
    part = series[start:end]
    places = np.arange(LEAST_BEFORE, count - LEAST_SINCE + 1)
    correlation, deviation = _noise(part, places, least)
    sizes = _sizes(part, places, np.full_like(places, count), correlation, deviation)
    nth = int(np.argmax(np.abs(sizes)))
    if abs(sizes[nth]) <= _certain(count):
        return []
    place, higher = int(places[nth]), bool(sizes[nth] > 0)
    seen = np.arange(place + LEAST_SINCE, count + 1)
    so_far = _sizes(part, np.full_like(seen, place), seen, correlation[nth], deviation[nth])
    plain = (np.abs(so_far) > _PLAIN) & ((so_far > 0) == higher)
    middle = start + place
    plain_at = middle + LEAST_SINCE - 1 + int(np.argmax(plain))
    shift = Shift(middle, plain_at, end, higher)
    before, after = _found(series, start, middle, least), _found(series, middle, end, least)
    return [*before, shift, *after]


def _certain(count: int) -> float:
    """Return how many standard errors a step must be among so many values."""
    return _CERTAIN + _CERTAIN_OF_FEW / count


def _noise(part: Floats, places: Ints, least: float) -> tuple[Floats, Floats]:
    """Return the correlation of neighbours and the deviation, for a step at each of the places.

    The correlation is the one of a first-order series whose mean is as unsure as this one's, so
    that what hangs together over several cars counts too.
    """
    count = part.size
    total = np.concatenate([[0.0], np.cumsum(part)])
    before, since = total[places] / places, (total[-1] - total[places]) / (count - places)
    left = part - np.where(np.arange(count) < places[:, None], before[:, None], since[:, None])
    squares = np.maximum((left**2).sum(axis=1), count * _TINY)
    together = np.zeros(places.size)
    for apart in range(1, _APART + 1):
        alike = (left[:, apart:] * left[:, :-apart]).sum(axis=1) / squares
        together += np.maximum(alike + _TOO_LOW / count, 0.0)
    weight = 1 / _BELIEVED_DEVIATION**2
    seen = together / (1 + together)
    correlation = (count * seen + weight * _BELIEVED) / (count + weight)
    deviation = np.maximum(np.sqrt(squares / (count - 2)), least)
    return np.minimum(correlation, _MOST_CORRELATED), deviation


def _sizes(
    part: Floats, places: Ints, seen: Ints, correlation: Floats, deviation: Floats
) -> Floats:
    """Return the step at each place, among the first `seen` values, in its standard errors."""
    total = np.concatenate([[0.0], np.cumsum(part)])
    kept = 1 - correlation  # what is left of a level once each value has its neighbour taken out
    first = 1 - correlation**2
    level = first + (seen - 1) * kept**2
    step = 1 + (seen - places - 1) * kept**2
    both = step - 1 + kept
    on_level = first * part[0] + kept * (total[seen] - total[1] - correlation * total[seen - 1])
    rest = total[seen] - total[places + 1] - correlation * (total[seen - 1] - total[places])
    on_step = part[places] - correlation * part[places - 1] + kept * rest
    known = np.sqrt(np.maximum(step - both**2 / level, _TINY))
    sizes: Floats = (on_step - both * on_level / level) / known / (deviation * np.sqrt(first))
    return sizes
