"""From which minute on a spell of good hours outside is long and warm enough for what still cures.

Minutes count from now.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import pairwise

from jobs.calc.cure import Cure

# Rounding alone shall not make a spell too short that just suffices, nor break it.
ROUNDING_MINUTES = 1e-6


@dataclass(frozen=True, slots=True)
class Hour:
    """A forecast hour, or what of it is left until the next begins."""

    starts: float
    ends: float
    celsius: float


@dataclass(frozen=True, slots=True)
class Need:
    """What a cure needs: `minutes` at its reference now, and none at `inside_by` in the workshop.

    Until then it goes on inside evenly; `inside_by` is None where it stands still there.
    """

    cure: Cure
    minutes: float
    inside_by: float | None

    def left_at(self, minute: float) -> float:
        """Return the minutes at the reference that it still needs if it stays inside until then."""
        if self.inside_by is None:
            return self.minutes
        return self.minutes * max(1 - minute / self.inside_by, 0.0)

    def short(self, spell: Sequence[Hour], minute: float) -> float:
        """Return the minutes at the reference that the spell lacks from a minute on, if above 0."""
        given = sum(
            self.cure.rate(hour.celsius) * max(hour.ends - max(hour.starts, minute), 0.0)
            for hour in spell
        )
        return self.left_at(minute) - given


def spells_of(hours: Iterable[Hour]) -> list[list[Hour]]:
    """Return hours in order as spells without a break."""
    spells: list[list[Hour]] = []
    for hour in hours:
        if spells and hour.starts - spells[-1][-1].ends <= ROUNDING_MINUTES:
            spells[-1].append(hour)
        else:
            spells.append([hour])
    return spells


def first_fit(
    needs: Sequence[Need], spells: Iterable[Sequence[Hour]], begin: float
) -> float | None:
    """Return the first minute, not before `begin`, from which one spell suffices for every need.

    None where no spell does. What a cure still needs and what the rest of a spell gives it are both
    linear between the hours' ends and the cures' ends, so the minute is found exactly.
    """
    ends = [need.inside_by for need in needs if need.inside_by is not None]
    for spell in spells:
        start, end = max(spell[0].starts, begin), spell[-1].ends
        marks = {start, end, *(hour.starts for hour in spell), *ends}
        within = sorted(mark for mark in marks if start <= mark <= end)
        for low, high in pairwise(within):
            found = _first_within(needs, spell, low, high)
            if found is not None:
                return found
    return None


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
