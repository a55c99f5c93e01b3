"""A lasting shift: from which value on a series has another mean, though neighbours are alike.

The cars of one day wait for the same people and the same night, so their times hang together, and
limits made for values that do not would be crossed all the time (Vasilopoulos & Stamboulis,
Journal of Quality Technology 1978, from memory). Here a step in the mean is fitted at every place,
in noise whose neighbours are correlated (generalised least squares after Prais & Winsten 1954),
and the largest counts where it is beyond what chance makes of the largest of so many: the
change-point model with nothing known before (Hawkins, Qiu & Kang, Journal of Quality Technology
2003), more than one of them by cutting the series in two again and again (Vostrikova 1981). How
far cars hang together is taken from all that is left once the step is taken out (Geyer, Statistical
Science 1992); the more they do, the larger a step must be, as if there were so many fewer of them
(Bayley & Hammersley, Supplement to the Journal of the Royal Statistical Society 1946). All from
memory. How often it errs is counted in tests/calc/test_chart_experiment.py.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

from jobs.work.calc.arrays import Floats, Ints, np

# Cars that there must be before a shift and since. Our own choices.
LEAST_BEFORE = 15
LEAST_SINCE = 5
# How far apart cars may be whose times still hang together: about the cars of two days.
_APART = 9
_MOST_CORRELATED = 0.95
_TINY = 1e-12
# How many standard errors a step must be at the least, and of how many cars that stand alone it
# must be one more. Both set by the experiment, so that few steady charts show a sign.
_CERTAIN, _SCARCE = 3.0, 93.0
_TWICE = 2.0  # what makes a step certain within a part whose own largest is not
_USUAL = 3.0  # times the deviation: a larger step is no change to wait for
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


def lasting_shifts(values: Sequence[float], *, least_deviation: float) -> list[Shift]:
    """Return the lasting shifts in the order they began.

    `least_deviation`: a standard deviation below it counts as this much, so that of values that
    are all but alike none stands out.
    """
    series = np.asarray(values, dtype=float)
    found = _found(series, 0, len(series), least_deviation)
    ends = [*(shift.begins for shift in found[1:]), series.size][: len(found)]
    return [replace(shift, until=end) for shift, end in zip(found, ends, strict=True)]


def least_told(values: Sequence[float], *, since: int, least_deviation: float) -> float | None:
    """Return the step that is told as likely as not, were it before the last `since` values.

    In the unit of the values. None where they are too few, or hang together so much, that it would
    be more than three of their standard deviations.
    """
    series, count = np.asarray(values, dtype=float), len(values)
    if count < LEAST_BEFORE + since:
        return None
    place, seen = np.array([count - since]), np.array([count])
    correlation, deviation = _noise(series, place, least_deviation)
    step = (np.arange(count) >= place[0]).astype(float)
    errors = _sizes(step, place, seen, correlation, deviation)[0]
    least = float(_certain(count, correlation[0]) / errors)
    return least if least <= _USUAL * deviation[0] else None


def _found(series: Floats, start: int, end: int, least: float, times: float = 1.0) -> list[Shift]:
    """Return the largest step of a part, where it is certain, and those of both sides of it.

    Several steps look like values that hang together, and hide each other. So both sides are looked
    at too where the largest is not certain, for what is certain twice over.
    """
    count = end - start
    if count < LEAST_BEFORE + LEAST_SINCE:
        return []
    part = series[start:end]
    places = np.arange(LEAST_BEFORE, count - LEAST_SINCE + 1)
    correlation, deviation = _noise(part, places, least)
    sizes = _sizes(part, places, np.full_like(places, count), correlation, deviation)
    nth = int(np.argmax(np.abs(sizes)))
    place, higher = int(places[nth]), bool(sizes[nth] > 0)
    middle = start + place
    if abs(sizes[nth]) <= times * _certain(count, correlation[nth]):
        if times > 1:
            return []
        return [
            *_found(series, start, middle, least, _TWICE),
            *_found(series, middle, end, least, _TWICE),
        ]
    seen = np.arange(place + LEAST_SINCE, count + 1)
    so_far = _sizes(part, np.full_like(seen, place), seen, correlation[nth], deviation[nth])
    plain = (np.abs(so_far) > _PLAIN) & ((so_far > 0) == higher)
    plain_at = middle + LEAST_SINCE - 1 + int(np.argmax(plain))
    return [
        *_found(series, start, middle, least, times),
        Shift(middle, plain_at, end, higher),
        *_found(series, middle, end, least, times),
    ]


def _certain(count: int, correlation: float) -> float:
    """Return how many standard errors a step must be among so many values.

    Values with such neighbours say as much as so many fewer that stand alone, and the fewer of
    those there are, the less is known of how the values hang together.
    """
    alone = count * (1 - correlation) / (1 + correlation)
    return _CERTAIN + (_SCARCE / alone) ** 2


def _noise(part: Floats, places: Ints, least: float) -> tuple[Floats, Floats]:
    """Return the correlation of neighbours and the deviation, for a step at each of the places.

    The correlation is the one of a first-order series whose mean is as unsure as this one's, so
    that what hangs together over several cars counts too: correlations are added up in pairs for
    as long as a pair is above zero (Geyer's initial positive sequence).
    """
    sums = products_left(part - part.mean(), places)
    squares = np.maximum(sums[0], part.size * _TINY)
    alike = sums / squares
    pairs = alike[2::2] + alike[3::2]
    pairs[np.minimum.accumulate(pairs, axis=0) <= 0] = 0.0
    together = np.maximum(alike[1] + pairs.sum(axis=0), 0.0)
    deviation = np.maximum(np.sqrt(squares / (part.size - 2)), least)
    return np.minimum(together / (1 + together), _MOST_CORRELATED), deviation


def products_left(part: Floats, places: Ints) -> Floats:
    """Return the sums of products of values 0, 1, ... apart, less the means of a place's sides."""
    count, apart = part.size, np.arange(_APART + 1)[:, None]
    total = np.concatenate([[0.0], np.cumsum(part)])
    before, since = total[places] / places, (total[-1] - total[places]) / (count - places)
    near, far = places - apart, np.minimum(places + apart, count)  # both sides lie between these
    plain = np.array([[part[: count - by] @ part[by:]] for by in range(_APART + 1)])
    earlier = before * total[near] + since * (total[count - apart] - total[near])
    later = before * (total[far] - total[apart]) + since * (total[-1] - total[far])
    means = before**2 * near + before * since * (far - places) + since**2 * (count - far)
    products: Floats = plain - earlier - later + means
    return products


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
