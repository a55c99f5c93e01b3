"""From which minute on a spell of good hours outside is long and warm enough for what still cures.

Minutes count from now.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import pairwise

from jobs.work.calc.curing.cure import Cure

# Rounding alone shall not make a spell too short that just suffices, nor break it.
ROUNDING_MINUTES = 1e-6


@dataclass(frozen=True, slots=True)
class Hour:
    """A forecast hour, or what of it is left until the next begins."""

    starts: float
    ends: float
    celsius: float
    rain_percent: float = 0.0


@dataclass(frozen=True, slots=True)
class Need:
    """What a cure needs: `minutes` at its reference now, and none at `inside_by` in the workshop.

    Until then it goes on inside evenly; `inside_by` is None where it stands still there. Raises
    ValueError where it is not above 0: what needs nothing any more has no need.
    """

    cure: Cure
    minutes: float
    inside_by: float | None

    def __post_init__(self) -> None:
        if self.inside_by is not None and self.inside_by <= 0:
            raise ValueError("What is done inside by now needs nothing any more.")

    def left_at(self, minute: float) -> float:
        """Return the minutes at the reference that it still needs if it stays inside until then."""
        if self.inside_by is None:
            return self.minutes
        return self.minutes * max(1 - minute / self.inside_by, 0.0)

    def short(self, spell: Sequence[Hour], minute: float) -> float:
        """Return the minutes at the reference that the spell lacks from a minute on, if above 0."""
        gained = sum(
            self.cure.rate(hour.celsius) * max(hour.ends - max(hour.starts, minute), 0.0)
            for hour in spell
        )
        return self.left_at(minute) - gained


def spells_of(hours: Iterable[Hour]) -> list[list[Hour]]:
    """Return hours in order as spells without a break."""
    spells: list[list[Hour]] = []
    for hour in hours:
        if spells and hour.starts - spells[-1][-1].ends <= ROUNDING_MINUTES:
            spells[-1].append(hour)
        else:
            spells.append([hour])
    return spells


@dataclass(frozen=True, slots=True)
class Fit:
    """From which minute on the needs are met outside, by when they are, and the chance of rain.

    `worst_hour_percent` is that of the worst hour. Of the whole spell no more is known than that
    the chance of rain at some time in it is at least that of the worst hour that lies wholly in it,
    and at most the hours' chances added up (Boole's inequality), however they hang together.
    """

    begins: float
    ends: float
    worst_hour_percent: float
    least_percent: float
    most_percent: float


def dry_hours(hours: Sequence[Hour], most_percent: float) -> Sequence[Hour]:
    """Return the hours from the first on whose chances of rain add up to no more than that."""
    total = 0.0
    for count, hour in enumerate(hours):
        total += hour.rain_percent
        if total > most_percent + ROUNDING_MINUTES:
            return hours[:count]
    return hours


def first_fit(
    needs: Sequence[Need],
    spells: Iterable[Sequence[Hour]],
    begin: float,
    *,
    most_rain_percent: float,
) -> Fit | None:
    """Return the first minute, not before `begin`, from which one spell suffices for every need.

    None where no spell does. The chances of rain of the hours that are needed add up to no more
    than `most_rain_percent`. What a cure still needs and what the rest of a spell gives it are both
    linear between the hours' ends and the cures' ends, so the minute is found exactly.
    """
    ends = [need.inside_by for need in needs if need.inside_by is not None]
    for spell in spells:
        for nth, first in enumerate(spell):
            start = max(first.starts, begin)
            dry = dry_hours(spell[nth:], most_rain_percent)
            if start >= first.ends or not dry:
                continue
            marks = {start, first.ends, *ends}
            within = sorted(mark for mark in marks if start <= mark <= first.ends)
            for low, high in pairwise(within):
                found = _first_within(needs, dry, low, high)
                if found is not None:
                    return _fit(needs, dry, found)
    return None


def _fit(needs: Sequence[Need], hours: Sequence[Hour], begins: float) -> Fit:
    ends = max(_met_at(need, hours, begins) for need in needs)
    used = [hour for hour in hours if hour.ends > begins and hour.starts < ends] or hours[:1]
    whole = [hour for hour in used if hour.starts >= begins and hour.ends <= ends]
    return Fit(
        begins=begins,
        ends=ends,
        worst_hour_percent=max(hour.rain_percent for hour in used),
        least_percent=max((hour.rain_percent for hour in whole), default=0.0),
        most_percent=sum(hour.rain_percent for hour in used),
    )


def _met_at(need: Need, hours: Sequence[Hour], begins: float) -> float:
    """Return the minute at which a need is met outside from a minute on, for hours that suffice."""
    left = need.left_at(begins)
    for hour in hours:
        minutes, rate = hour.ends - max(hour.starts, begins), need.cure.rate(hour.celsius)
        if minutes <= 0 or left <= ROUNDING_MINUTES:
            continue
        if rate * minutes >= left:
            return max(hour.starts, begins) + left / rate
        left -= rate * minutes
    return begins if need.left_at(begins) <= ROUNDING_MINUTES else hours[-1].ends


def _first_within(
    needs: Sequence[Need], spell: Sequence[Hour], low: float, high: float
) -> float | None:
    """Return the first minute between two, among which all is linear, that suffices for all."""
    first, last = low, high
    for need in needs:
        short, then = need.short(spell, low), need.short(spell, high)
        if short <= ROUNDING_MINUTES and then <= ROUNDING_MINUTES:
            continue
        if short > ROUNDING_MINUTES and then > ROUNDING_MINUTES:
            return None
        crossing = low + (high - low) * short / (short - then)
        if short > ROUNDING_MINUTES:
            first = max(first, crossing)
        else:
            last = min(last, crossing)
    return first if first <= last + ROUNDING_MINUTES else None
