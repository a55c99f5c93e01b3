"""Which readings of the air are doubtful: come late, or from a sensor that repeats one value.

A sensor that is stuck goes on reporting, so a workshop notices nothing; what it says is then worth
as much as nothing measured. A gauge in whole degrees in a steady workshop repeats itself honestly,
though, so its cold is never thrown away. The figures are common practice, no source.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

# One value for so long, so often, and never out of sight for longer: air that is measured to a
# tenth of a degree and of a percent does not do that.
STUCK_SPAN = timedelta(hours=24)
STUCK_READINGS = 12
# Readings further apart than this are looks now and then, not a sensor that repeats itself.
STUCK_GAP = timedelta(hours=6)
# A run that goes on for so long beyond a reading is stuck by what lies there alone.
SURROUNDINGS = STUCK_GAP * (STUCK_READINGS + 1)

STUCK_REASON = (
    f"The sensor has repeated one value for {STUCK_SPAN.total_seconds() / 3600:.0f} hours or more, "
    "so it counts as not measured; only where it is colder or damper than is assumed then, clocks "
    "go by that. Look at its battery and its place."
)
# Said beside what such a sensor warns of.
REPEATED = "The sensor repeats one value: read a thermometer to be sure."
LATE_REASON = "It came after later readings of this sensor; it is used all the same."


@dataclass(frozen=True, slots=True)
class Said:
    """What one sensor said at one time: °C and, where it measures that, % relative humidity."""

    at: datetime
    celsius: float
    humidity_percent: float | None = None

    def repeats(self, before: "Said") -> bool:
        """Return whether this is the value before over again, not too long after it."""
        return (self.celsius, self.humidity_percent) == (
            before.celsius,
            before.humidity_percent,
        ) and self.at - before.at <= STUCK_GAP


def runs_of(said: Sequence[Said]) -> Iterator[range]:
    """Yield the stretches of one value in what one sensor said, which is in order of time."""
    begin = 0
    for index in range(1, len(said) + 1):
        if index == len(said) or not said[index].repeats(said[index - 1]):
            yield range(begin, index)
            begin = index


def runs_beside(said: Sequence[Said], fresh: Sequence[datetime]) -> list[range]:
    """Return the runs whose verdict readings taken at these times may have changed.

    `said` is in order and has the fresh readings in it: theirs are the runs from the one that
    they may go on with to the one that may go on with them. Raises ValueError where none is fresh,
    and TypeError where some times have a zone and others have none.
    """
    first, last = min(fresh) - STUCK_GAP, max(fresh) + STUCK_GAP
    there = [index for index, reading in enumerate(said) if first <= reading.at <= last]
    inside = [index for index in there if min(fresh) <= said[index].at <= max(fresh)]
    low, high = max(inside[0] - 1, there[0]), min(inside[-1] + 1, there[-1])
    return [run for run in runs_of(said) if run[-1] >= low and run[0] <= high]


def reaches_beyond(said: Sequence[Said], fresh: Sequence[datetime]) -> bool:
    """Return whether a run beside fresh readings may go on outside of what was looked at.

    Looked at was at least STUCK_GAP to both sides of the fresh readings, so a fresh one at the
    very edge has nothing beyond it that it could repeat. Raises as `runs_beside` does.
    """
    runs = runs_beside(said, fresh)
    before = runs[0][0] == 0 and said[0].at < min(fresh)
    after = runs[-1][-1] == len(said) - 1 and said[-1].at > max(fresh)
    return before or after


def is_stuck(said: Sequence[Said], run: range) -> bool:
    """Return whether a run of one value is too long for a sensor that works."""
    long_enough = said[run[-1]].at - said[run[0]].at >= STUCK_SPAN
    return long_enough and len(run) >= STUCK_READINGS


def marks_beside(said: Sequence[Said], fresh: Sequence[datetime]) -> dict[int, bool]:
    """Return by index whether readings beside fresh ones are what a stuck sensor repeated.

    All of a long run are, but its first. What stood at the edge before is left as it is: the run
    may have begun earlier. `said` reaches SURROUNDINGS to both sides, or as far as a run does.
    Raises as `runs_beside` does, and IndexError where nothing was said.
    """
    known = said[0].at < min(fresh)
    return {
        index: is_stuck(said, run) and index > run[0]
        for run in runs_beside(said, fresh)
        for index in run
        if index > 0 or not known
    }
