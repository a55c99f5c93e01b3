"""How many machine passes the film allows: a bound, never a promise.

A total reading cannot tell the layers apart. What lies under the top coat is therefore taken at
its thickest, a pass at its hungriest, the panel at its thinnest spot: that is the conservative
allowance, and it counts. The hopeful one takes each the other way; it is shown beside the first.

Layers from memory: e-coat 15 to 25, primer 25 to 40, base coat 10 to 25, clear coat 35 to 50
microns. Removal by pass, what to keep and what to spend: common practice, no source.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

from jobs.calc.paint_system import PaintSystem


@dataclass(frozen=True, slots=True)
class Bounds:
    """A quantity in microns known only between two bounds. Raises ValueError if they cross."""

    low: float
    high: float

    def __post_init__(self) -> None:
        if not 0 < self.low <= self.high:
            raise ValueError("Bounds go from a lower to a higher figure, both above zero.")


E_COAT_MICRONS = Bounds(15, 25)
PRIMER_MICRONS = Bounds(25, 40)
BASE_COAT_MICRONS = Bounds(10, 25)
CLEAR_COAT_MICRONS = Bounds(35, 50)
# What one pass takes off: the machine over the whole panel once with one pad and product.
CUT_MICRONS = Bounds(2.0, 4.0)
FINISH_MICRONS = Bounds(0.5, 1.0)
# What must stay of the top coat, and the most of it to spend on one car: the upper figure is the
# hopeful one.
CLEAR_TO_KEEP_MICRONS = 10.0
CLEAR_TO_SPEND_MICRONS = Bounds(10, 12)
COLOUR_TO_KEEP_MICRONS = 25.0
COLOUR_TO_SPEND_MICRONS = Bounds(12, 16)
_ROUNDING = 1e-9  # 0.3 goes into 0.9 three times, whatever binary fractions say


@dataclass(frozen=True, slots=True)
class Budget:
    """For one paint system: total film not to go below, and the most to take off, in microns."""

    floor: Bounds
    spend: Bounds


_CLEAR = Budget(
    floor=Bounds(
        E_COAT_MICRONS.low + PRIMER_MICRONS.low + BASE_COAT_MICRONS.low + CLEAR_TO_KEEP_MICRONS,
        E_COAT_MICRONS.high + PRIMER_MICRONS.high + BASE_COAT_MICRONS.high + CLEAR_TO_KEEP_MICRONS,
    ),
    spend=CLEAR_TO_SPEND_MICRONS,
)
_SINGLE = Budget(
    floor=Bounds(
        E_COAT_MICRONS.low + PRIMER_MICRONS.low + COLOUR_TO_KEEP_MICRONS,
        E_COAT_MICRONS.high + PRIMER_MICRONS.high + COLOUR_TO_KEEP_MICRONS,
    ),
    spend=COLOUR_TO_SPEND_MICRONS,
)
# Not knowing which it is, take the stricter figure of the two each time.
_UNSURE = Budget(
    floor=Bounds(max(_CLEAR.floor.low, _SINGLE.floor.low), _CLEAR.floor.high),
    spend=CLEAR_TO_SPEND_MICRONS,
)
BUDGETS = {
    PaintSystem.CLEAR_OVER_BASE: _CLEAR,
    PaintSystem.SINGLE_STAGE: _SINGLE,
    PaintSystem.UNSURE: _UNSURE,
}


@dataclass(frozen=True, slots=True)
class Work:
    """Machine passes over a panel."""

    cut: int = 0
    finish: int = 0

    def taken(self, cut_microns: float, finish_microns: float) -> float:
        """Return what they take off at so many microns a pass."""
        return self.cut * cut_microns + self.finish * finish_microns


@dataclass(frozen=True, slots=True)
class Left:
    """Film that may still go, and for how many passes of either kind (not of both) it lasts."""

    microns: float
    cut_passes: int
    finish_passes: int


@dataclass(frozen=True, slots=True)
class Allowance:
    """What a panel can still stand. The conservative figures count."""

    system: PaintSystem
    conservative: Left
    hopeful: Left
    assumption: str


def allowance_of(
    spots: Sequence[tuple[float, Work]],
    *,
    done: Work,
    system: PaintSystem,
    cut: Bounds = CUT_MICRONS,
    finish: Bounds = FINISH_MICRONS,
) -> Allowance:
    """Return what the film of one panel still allows.

    `spots`: each spot reading in microns with the work done since it was taken; one at least.
    `done`: all passes on the panel at this visit; what may be spent goes down by them, even where
    a later reading shows what is left, because nobody knows what earlier hands took off.
    A built-up panel gets no more than any other: nobody knows its layers. Raises ValueError
    without spots.
    """
    if not spots:
        raise ValueError("Without a reading nothing is known about the film.")
    budget = BUDGETS[system]

    def left(floor: float, spend: float, cut_by: float, finish_by: float) -> Left:
        film = min(microns - since.taken(cut_by, finish_by) for microns, since in spots)
        free = max(0.0, min(film - floor, spend - done.taken(cut_by, finish_by)))
        return Left(free, _times(free, cut_by), _times(free, finish_by))

    return Allowance(
        system=system,
        conservative=left(budget.floor.high, budget.spend.low, cut.high, finish.high),
        hopeful=left(budget.floor.low, budget.spend.high, cut.low, finish.low),
        assumption=assumption(system, cut, finish),
    )


def _times(microns: float, by: float) -> int:
    return math.floor(microns / by + _ROUNDING)


def fits(allowance: Allowance, work: Work) -> bool:
    """Say whether the conservative allowance covers further passes, all of one kind."""
    left = allowance.conservative
    return work.cut <= left.cut_passes and work.finish <= left.finish_passes


def assumption(system: PaintSystem, cut: Bounds, finish: Bounds) -> str:
    """Return in words what the allowance assumes."""
    budget = BUDGETS[system]
    kept = {
        PaintSystem.CLEAR_OVER_BASE: f"{CLEAR_TO_KEEP_MICRONS:g} microns of clear",
        PaintSystem.SINGLE_STAGE: f"{COLOUR_TO_KEEP_MICRONS:g} microns of colour",
        PaintSystem.UNSURE: "the more cautious share, the paint system being unsure,",
    }[system]
    return (
        "A total reading cannot tell the layers apart, so this is a bound. Layers are taken as "
        f"e-coat {_span(E_COAT_MICRONS)}, primer {_span(PRIMER_MICRONS)}, base coat "
        f"{_span(BASE_COAT_MICRONS)}, clear coat {_span(CLEAR_COAT_MICRONS)} microns (usual "
        "figures, no data sheet). The conservative figure counts: layers beneath at their "
        f"thickest, {kept} kept, "
        f"so no less than {budget.floor.high:g} microns in all; at most {budget.spend.low:g} "
        f"microns spent; {cut.high:g} microns a cutting pass, {finish.high:g} a finishing pass "
        "(common practice, no source); the thinnest spot decides. Keep a finishing pass for after "
        "the last cut."
    )


def _span(bounds: Bounds) -> str:
    return f"{bounds.low:g}-{bounds.high:g}"
