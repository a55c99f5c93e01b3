"""Where a car's time went: from arrival to ready, by stage and by what it waited for.

Every second has exactly one cause, so that the parts add up to the whole. Hours in which the
workshop is shut are not known here; what stands over night with nobody on it counts as that.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from enum import StrEnum
from itertools import pairwise
from typing import TypeVar

from jobs.work.calc.instants import to_utc
from jobs.work.calc.stages.machine import Stage
from jobs.work.calc.tasks.worktime import Span, merged, seconds_outside


class Cause(StrEnum):
    """What a second of a car's time was: work, or the one thing it waited for."""

    WORKING = "working"
    NOBODY = "nobody_on_it"
    DECISION = "decision"
    PARTS = "parts"
    WEATHER = "weather"
    DRYING = "drying"
    CURE = "cure"


STAGES = tuple(Stage)
CAUSES = tuple(Cause)
# Where work is done by a person; in the others a car with nobody on it waits for the next stage.
WORKED_IN = frozenset({Stage.CLEANING, Stage.CORRECTION})
Part = tuple[Stage, Cause]
Key = TypeVar("Key")


@dataclass(frozen=True, slots=True)
class Entry:
    """When a car came into a stage."""

    stage: Stage
    at: datetime


@dataclass(frozen=True, slots=True)
class Delay:
    """A hold, or a clock of what cures or dries, with its cause."""

    cause: Cause
    span: Span


@dataclass(frozen=True, slots=True)
class CarTimes:
    """What is on record about one car, in no order that matters but that of `moves`.

    `moves`: the stages after intake in the order they were entered. `spells`: a person's each.
    """

    moves: Sequence[Entry] = ()
    holds: Sequence[Delay] = ()
    spells: Sequence[Span] = ()
    clocks: Sequence[Delay] = ()


@dataclass(frozen=True, slots=True)
class Split:
    """A car's time in whole seconds.

    `parts` has every part that is not empty, and together they are `lead_seconds`. `waited_for`
    says for which stage's people it stood with nobody on it: the one it was in before somebody
    began there, the next one after the last work; a car that stood as ready until it went back
    waited for nobody. `person_seconds` counts two people twice.
    """

    lead_seconds: int
    parts: Mapping[Part, int] = field(default_factory=dict)
    waited_for: Mapping[Stage, int] = field(default_factory=dict)
    person_seconds: int = 0


@dataclass(frozen=True, slots=True)
class _Piece:
    """A stretch within one stay in a stage that has one cause."""

    stage: Stage
    stay: int
    cause: Cause
    seconds: int


def cause_of(*, held: Sequence[Cause], worked_on: bool, clocks: Sequence[Cause]) -> Cause:
    """Return the one cause of an instant.

    `held`: the causes of the holds then, the one that began first in front; a hold stops the work,
    so it comes before it. `clocks`: of what cures or dries, the one that ends last in front, since
    the last one decides; while somebody works on the car it does not wait for them.
    """
    if held:
        return held[0]
    if worked_on:
        return Cause.WORKING
    return clocks[0] if clocks else Cause.NOBODY


def split(times: CarTimes, *, arrived_at: datetime, ready_at: datetime) -> Split:
    """Split the time from arrival to ready; zero where a device's clock had ready come first.

    Instants are cut to whole seconds first, so that the parts are whole and add up exactly. A move
    told with a time before the one before it counts from there, as moves keep their order. Raises
    ValueError for a time without a time zone.
    """
    whole = Span(_cut(arrived_at), max(_cut(arrived_at), _cut(ready_at)))
    spells = [_cut_span(spell) for spell in times.spells]
    held = [Delay(hold.cause, _cut_span(hold.span)) for hold in times.holds]
    holds = sorted(held, key=lambda hold: (hold.span.start, hold.span.end, hold.cause))
    running = [Delay(clock.cause, _cut_span(clock.span)) for clock in times.clocks]
    clocks = sorted(running, key=lambda clock: (-clock.span.end.timestamp(), clock.cause))
    pieces = []
    for stay, (stage, span) in enumerate(_stays(times.moves, whole)):
        for piece in _pieces(span, [*spells, *(delay.span for delay in (*holds, *clocks))]):
            cause = cause_of(
                held=[hold.cause for hold in holds if _covers(hold.span, piece)],
                worked_on=any(_covers(spell, piece) for spell in spells),
                clocks=[clock.cause for clock in clocks if _covers(clock.span, piece)],
            )
            pieces.append(_Piece(stage, stay, cause, _seconds(piece)))
    waits = merged(hold.span for hold in holds)
    inside = (Span(max(spell.start, whole.start), min(spell.end, whole.end)) for spell in spells)
    return Split(
        lead_seconds=_seconds(whole),
        parts=_summed(((piece.stage, piece.cause), piece.seconds) for piece in pieces),
        waited_for=_waited_for(pieces),
        person_seconds=round(sum(seconds_outside(spell, waits) for spell in inside)),
    )


def _cut(moment: datetime) -> datetime:
    return to_utc(moment).replace(microsecond=0)


def _cut_span(span: Span) -> Span:
    return Span(_cut(span.start), _cut(span.end))


def _seconds(span: Span) -> int:
    return round(span.seconds)


def _covers(span: Span, piece: Span) -> bool:
    return span.start <= piece.start and piece.end <= span.end


def _stays(moves: Sequence[Entry], whole: Span) -> list[tuple[Stage, Span]]:
    """Return each stay in a stage, the first in intake; together they are the whole."""
    stays = []
    stage, since = Stage.INTAKE, whole.start
    for move in moves:
        at = min(max(_cut(move.at), since), whole.end)
        stays.append((stage, Span(since, at)))
        stage, since = move.stage, at
    return [*stays, (stage, Span(since, whole.end))]


def _pieces(span: Span, among: Iterable[Span]) -> list[Span]:
    """Return the span cut wherever one of the others begins or ends."""
    instants = {span.start, span.end}
    for neighbour in among:
        instants.update(
            moment for moment in (neighbour.start, neighbour.end) if span.start < moment < span.end
        )
    ordered = sorted(instants)
    return [Span(start, end) for start, end in pairwise(ordered)]


def _summed(pairs: Iterable[tuple[Key, int]]) -> dict[Key, int]:
    sums: dict[Key, int] = {}
    for key, seconds in pairs:
        if seconds:
            sums[key] = sums.get(key, 0) + seconds
    return sums


def _waited_for(pieces: Sequence[_Piece]) -> dict[Stage, int]:
    """Return the seconds with nobody on the car, by the stage whose people it waited for."""
    happened = {}  # where, within each stay, something last went on that leads on to the next stage
    stages = {}
    for place, piece in enumerate(pieces):
        stages[piece.stay] = piece.stage
        if piece.cause in {Cause.WORKING, Cause.DRYING, Cause.CURE}:
            happened[piece.stay] = place
    order = sorted(stages)
    following = {stay: stages[after] for stay, after in pairwise(order)}

    def waited(place: int, piece: _Piece) -> Stage:
        last = happened.get(piece.stay)
        own = piece.stage in WORKED_IN if last is None else place < last
        return piece.stage if own else following.get(piece.stay, Stage.READY)

    return _summed(
        (waited(place, piece), piece.seconds)
        for place, piece in enumerate(pieces)
        if piece.cause is Cause.NOBODY and piece.stage is not Stage.READY
    )
