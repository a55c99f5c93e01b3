"""Refinishing of small parts: the steps of each kind, and the flash-off timer of each coat.

Coats, flash-off and handling times are common practice, no source: the data sheet on the tin
outranks them, and cold or damp lengthens them. Steps are operations of the catalogue, so that
each may also be a task of its own, with its own minutes.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum
from types import MappingProxyType

from jobs.work.calc.curing.cure import Cure, Reading, cure_estimate

GUIDE = (
    "Coats and times are common practice, no source: the product's data sheet and local rules "
    "outrank them, and cold or damp air lengthens them."
)


class CoatKind(StrEnum):
    """What a coat is of."""

    PRIMER = "primer"
    COLOUR = "colour"
    LACQUER = "lacquer"


@dataclass(frozen=True, slots=True)
class Coats:
    """How many coats of a kind are usual, and how long each flashes off before the next."""

    kind: CoatKind
    fewest: int
    most: int
    flash_off_minutes: int


@dataclass(frozen=True, slots=True)
class Step:
    """One step on one kind of part; the operation has the name and the caution."""

    operation: str
    work: str
    coats: Coats | None = None


@dataclass(frozen=True, slots=True)
class Part:
    """A kind of part, by the operation that refinishes it, with its steps in order."""

    operation: str
    handle_after_minutes: int
    steps: tuple[Step, ...]


_PARTS = (
    Part(
        "touch_in",
        handle_after_minutes=30,
        steps=(
            Step("keying", "Lift loose paint and rust from the chip and scuff its edge only."),
            Step("panel_wipe", "Wipe the chip with a damp cloth, dry it, and touch it no more."),
            Step(
                "primer",
                "Dab primer on bare metal alone; leave out where the old primer is whole.",
                Coats(CoatKind.PRIMER, 0, 1, 20),
            ),
            Step(
                "colour_coats",
                "Fill the chip with small drops, each thinner than the film around it.",
                Coats(CoatKind.COLOUR, 2, 4, 30),
            ),
            Step(
                "lacquer",
                "Over clear-over-base paint finish with a drop of lacquer, a little proud.",
                Coats(CoatKind.LACQUER, 0, 2, 30),
            ),
        ),
    ),
    Part(
        "sills_refinish",
        handle_after_minutes=120,
        steps=(
            Step("keying", "Scuff the whole sill to an even matt and feather the edges of chips."),
            Step("panel_wipe", "Degrease from end to end, one cloth to wet and one to dry."),
            Step("masking", "Mask doors, wing and tyres; plug nothing that must drain."),
            Step(
                "primer",
                "Spray bare metal and feathered edges lightly; clear the drain holes afterwards.",
                Coats(CoatKind.PRIMER, 1, 2, 10),
            ),
            Step(
                "colour_coats",
                "Spray several light coats along the sill; a wet coat runs on its lower edge.",
                Coats(CoatKind.COLOUR, 2, 4, 10),
            ),
            Step(
                "lacquer",
                "Where the car has clear over base, spray lacquer to the same edge as the colour.",
                Coats(CoatKind.LACQUER, 0, 3, 15),
            ),
        ),
    ),
    Part(
        "steel_wheels_refinish",
        handle_after_minutes=120,
        steps=(
            Step("keying", "Take off loose rust and scuff the face and the holes to bright matt."),
            Step("panel_wipe", "Degrease the face; brake dust and dressing let paint fall off."),
            Step("masking", "Mask the tyre and valve, the brakes, the bolt seats, the hub face."),
            Step(
                "primer",
                "Spray bare steel and edges lightly, turning the wheel between strokes.",
                Coats(CoatKind.PRIMER, 1, 2, 10),
            ),
            Step(
                "colour_coats",
                "Spray several light coats from changing sides, the holes' edges first.",
                Coats(CoatKind.COLOUR, 2, 3, 10),
            ),
            Step(
                "lacquer",
                "Spray lacquer where the colour asks for it; many wheel paints need none.",
                Coats(CoatKind.LACQUER, 0, 2, 15),
            ),
        ),
    ),
)
PARTS = MappingProxyType({part.operation: part for part in _PARTS})
_COATS = tuple(
    (part, step.operation, step.coats) for part in _PARTS for step in part.steps if step.coats
)
# The parts, and the steps with coats where such a step is a task of its own.
PAINTED = frozenset(PARTS) | {operation for _, operation, _ in _COATS}


@dataclass(frozen=True, slots=True)
class Timer:
    """One coat: when it went on and when it has flashed off, None where it is too cold for that."""

    applied_at: datetime
    flashed_off_at: datetime | None


def default_flash_off_minutes(operation: str, kind: CoatKind) -> int:
    """Return the flash-off of a coat on this part, or the longest there is of its kind.

    Raises ValueError for a kind that this part has no coat of.
    """
    return max(
        coats.flash_off_minutes
        for part, _, coats in _COATS
        if coats.kind is kind and (part.operation == operation or operation not in PARTS)
    )


def next_coat_from(timers: Sequence[Timer]) -> datetime | None:
    """Return when the part takes its next coat: when all on it have flashed off.

    All, not the last: one put on early with a short time of its own dries over a wet one. None:
    there is none on it, or it is too cold for one to flash off. Raises TypeError where some times
    have a zone and others have none.
    """
    known = [timer.flashed_off_at for timer in timers if timer.flashed_off_at is not None]
    return max(known) if known and len(known) == len(timers) else None


def is_flashing_off(timers: Iterable[Timer], *, at: datetime) -> bool:
    """Return whether a coat on the part is still flashing off at this time.

    Raises TypeError where one of the times has a zone and another has none.
    """
    return any(timer.flashed_off_at is None or at < timer.flashed_off_at for timer in timers)


def handling_cure(operation: str) -> Cure:
    """Return how what is painted becomes dry to handle: its minutes are those at 15 °C.

    The longest there are where the operation is a step that may be on any part.
    """
    parts = [PARTS[operation]] if operation in PARTS else _PARTS
    return Cure(max(part.handle_after_minutes for part in parts))


def dry_to_handle_at(
    operation: str, timers: Sequence[Timer], readings: Iterable[Reading]
) -> datetime | None:
    """Return when the part can be handled and unmasked by the air, as flash-off goes by it.

    Never before the last coat has flashed off. None where nothing was put on, or where it is too
    cold for anybody to say. Raises ValueError for times without a zone.
    """
    flashed_off = next_coat_from(timers)
    if flashed_off is None:
        return None
    last = max(timer.applied_at for timer in timers)
    dry = cure_estimate(handling_cure(operation), readings, started_at=last, at=last).latest_at
    return None if dry is None else max(flashed_off, dry)
