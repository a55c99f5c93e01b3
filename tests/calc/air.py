"""Courses of the air for the tests of cure and drying."""

import random
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from itertools import pairwise

from hypothesis import strategies as st

from jobs.calc.cure import Reading

START = datetime(2026, 11, 25, 8, 0, tzinfo=UTC)
MINUTES_IN_14_DAYS = 14 * 24 * 60

# Readings are taken to a tenth, as gauges tell them, and to a whole minute.
CELSIUS = st.integers(-50, 350).map(lambda tenths: tenths / 10)
PERCENT = st.integers(100, 1000).map(lambda tenths: tenths / 10)
MOMENTS = st.integers(-120, 2000)


def after(minutes: float) -> datetime:
    return START + timedelta(minutes=minutes)


def reading(minute: float, celsius: float, percent: float | None = None) -> Reading:
    return Reading(after(minute), celsius, percent)


def readings(least: int = 0) -> st.SearchStrategy[list[Reading]]:
    """Return readings at different minutes, close together and far apart, in any order."""
    one = st.builds(reading, MOMENTS, CELSIUS, st.none() | PERCENT)
    return st.lists(one, min_size=least, max_size=12, unique_by=lambda made: made.at)


def day(seed: int, minutes: int = 1440) -> list[Reading]:
    """Return a made-up course with readings 5 to 119 minutes apart, from before the start on."""
    rng = random.Random(seed)
    minute, celsius, percent = -30.0, rng.uniform(2, 22), rng.uniform(35, 95)
    made = []
    while minute < minutes:
        made.append(reading(minute, celsius, percent))
        minute += rng.randint(5, 119)
        celsius += rng.gauss(0, 2.5)
        percent = min(max(percent + rng.gauss(0, 8), 20), 99)
    return made


def completed(sparse: list[Reading], rng: random.Random) -> list[Reading]:
    """Return one course that the sparse readings leave open, often as far out as the rules allow.

    No two readings of it are more than two hours apart, from the start on for more than 14 days,
    and each has its humidity.
    """
    known = sorted(sparse, key=lambda one: one.at)
    told = [_told(one, rng) for one in known]
    held = replace(told[-1], at=told[-1].at + timedelta(hours=2))
    gaps = [([known[0]], START - timedelta(minutes=1), known[0].at)]
    gaps += [([one, other], one.at, other.at) for one, other in pairwise(known)]
    gaps.append(([known[-1]], held.at, after(MINUTES_IN_14_DAYS + 1)))
    made = [*told, held]
    for neighbours, start, end in gaps:
        if len(neighbours) == 1 or end - start > timedelta(hours=2):
            made += _filling(neighbours, start, end, rng)
    return made


def _told(one: Reading, rng: random.Random) -> Reading:
    percent = one.humidity_percent
    return replace(one, humidity_percent=rng.uniform(40, 90) if percent is None else percent)


def _filling(
    neighbours: list[Reading], start: datetime, end: datetime, rng: random.Random
) -> list[Reading]:
    """Return readings through a gap that begins with one, or right after one in the workshop."""
    celsius = [one.celsius for one in neighbours]
    percent = [one.humidity_percent for one in neighbours if one.humidity_percent is not None]
    dampest, driest = max([90.0, *percent]), min([40.0, *percent])
    least, most = rng.choice([(0.0, 1.0), (0.0, 0.0), (1.0, 1.0)])
    made, at = [], start if start < START else start + timedelta(seconds=1)
    while at < end:
        warm = rng.uniform(least, most)
        nearest = min(abs(at - one.at) for one in neighbours)
        room = min(5.0, nearest / timedelta(hours=1))
        coldest, warmest = min(celsius) - room, max(celsius) + room
        made.append(
            Reading(
                at,
                coldest + warm * (warmest - coldest),
                dampest + warm * (driest - dampest),
            )
        )
        at += timedelta(minutes=rng.uniform(0.1, 120))
    return made


def in_a_gap(air: list[Reading], data: st.DataObject) -> Reading | None:
    """Draw a reading inside a gap and between its neighbours' temperatures; None without a gap."""
    known = sorted(air, key=lambda one: one.at)
    gaps = [
        (one, other) for one, other in pairwise(known) if other.at - one.at > timedelta(hours=2)
    ]
    if not gaps:
        return None
    one, other = data.draw(st.sampled_from(gaps))
    low, high = sorted((one.celsius, other.celsius))
    at = one.at + data.draw(st.floats(0.01, 0.99)) * (other.at - one.at)
    return Reading(at, data.draw(st.floats(low, high)), data.draw(st.none() | st.floats(40, 90)))
