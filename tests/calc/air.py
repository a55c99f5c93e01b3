"""Courses of the air for the tests of cure and drying."""

import random
from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from itertools import pairwise

from hypothesis import strategies as st

from jobs.work.calc.curing.cure import Basis, Estimate, Reading

START = datetime(2026, 11, 25, 8, 0, tzinfo=UTC)

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
    any_reading = st.builds(reading, MOMENTS, CELSIUS, st.none() | PERCENT)
    return st.lists(any_reading, min_size=least, max_size=12, unique_by=lambda made: made.at)


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


def alike(air: list[Reading]) -> list[Reading]:
    """Return the readings with a humidity each, or with none where one of them lacks it."""
    if all(measured.humidity_percent is not None for measured in air):
        return air
    return [replace(measured, humidity_percent=None) for measured in air]


@dataclass(frozen=True, slots=True)
class Band:
    """Between what the air of one moment lies: °C and %."""

    coldest: float
    warmest: float
    dampest: float
    driest: float


def band_at(air: list[Reading], at: datetime) -> Band | None:
    """Return what is assumed of a moment in a gap of readings that are `alike`; None: measured.

    Written down a second time, from the rule: 15 to 20 °C and 60 %, or as far as the readings
    before and after.
    """
    before = max(
        (measured for measured in air if measured.at <= at),
        key=lambda measured: measured.at,
        default=None,
    )
    after = min(
        (measured for measured in air if measured.at > at),
        key=lambda measured: measured.at,
        default=None,
    )
    hold = timedelta(hours=2)
    if before is not None and (
        at - before.at <= hold or (after is not None and after.at - before.at <= hold)
    ):
        return None
    sides = [side for side in (before, after) if side is not None]
    if before is not None and before.at < START - timedelta(days=7):
        sides.remove(before)
    celsius = [side.celsius for side in sides]
    percent = [
        60.0,
        *(side.humidity_percent for side in sides if side.humidity_percent is not None),
    ]
    return Band(min([15.0, *celsius]), max([20.0, *celsius]), max(percent), min(percent))


def in_band(air: list[Reading], data: st.DataObject) -> Reading | None:
    """Draw a reading within what is assumed of its time; None where that was measured."""
    at = after(data.draw(st.integers(-3000, 4000)))
    band = band_at(air, at)
    if band is None:
        return None
    celsius = data.draw(st.floats(band.coldest, band.warmest))
    return Reading(at, celsius, data.draw(st.floats(band.driest, band.dampest)))


def completed(sparse: list[Reading], rng: random.Random) -> list[Reading]:
    """Return one course that readings which are `alike` leave open, often as far as it may go.

    No two readings of it are more than two hours apart, from the start on to more than 14 days
    after the last, and each has its humidity.
    """
    known = sorted(sparse, key=lambda measured: measured.at)
    made = [
        replace(measured, humidity_percent=measured.humidity_percent or 60.0) for measured in known
    ]
    until = known[-1].at + timedelta(days=14, hours=2, minutes=1)
    starts = [min(START, known[0].at) - timedelta(minutes=1), *(measured.at for measured in known)]
    least, most = rng.choice([(0.0, 1.0), (0.0, 0.0), (1.0, 1.0)])
    for start, end in pairwise([*starts, until]):
        held = [measured for measured in made if measured.at == start]
        at = start + timedelta(seconds=1)
        if held and end - start > timedelta(hours=2):
            at = start + timedelta(hours=2)
            made.append(replace(held[0], at=at))
            at += timedelta(seconds=1)
        while at < end and (band := band_at(known, at)) is not None:
            warm = rng.uniform(least, most)
            celsius = band.coldest + warm * (band.warmest - band.coldest)
            made.append(Reading(at, celsius, band.dampest + warm * (band.driest - band.dampest)))
            at += timedelta(minutes=rng.uniform(0.1, 120))
    return made


def width_of(estimate: Estimate) -> timedelta | None:
    """Return the time between both ends; None where there is no late one."""
    if estimate.latest_at is None:
        return None
    assert estimate.earliest_at is not None
    return estimate.latest_at - estimate.earliest_at


def never_wider(was: Estimate, now: Estimate) -> bool:
    """Return whether an interval is no wider than before; what is halted has none."""
    before, after_it = width_of(was), width_of(now)
    return before is None or after_it is None or after_it <= before


def holds_the_end(
    estimated: Callable[[list[Reading]], Estimate], sparse: list[Reading], course: list[Reading]
) -> None:
    """Check that a whole course ends within what some of its readings say.

    Before the early end it ends only where that was put later, so as not to be wider than before.
    """
    unsure, exact = estimated(sparse), estimated(course)
    if unsure.latest_at is not None:
        assert exact.basis is Basis.MEASURED
        assert exact.latest_at is not None
        assert exact.latest_at <= unsure.latest_at
    if exact.earliest_at is None or unsure.earliest_at is None:
        return
    if exact.earliest_at < unsure.earliest_at:
        in_order = sorted(sparse, key=lambda measured: measured.at)
        before = [width_of(estimated(in_order[:count])) for count in range(len(in_order))]
        assert width_of(unsure) == min(width for width in before if width is not None)
