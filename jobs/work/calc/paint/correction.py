"""How many machine passes the film allows: a bound, never a promise.

A total reading cannot tell the layers apart, but the layers as made add up to it. However thick
what lies beneath may be, the top coat was laid on at its thinnest or more; a reading below the
least sum of the layers shows that something is gone, and all of that counts as gone from the top
coat. The gauge counts as reading too much by all it may be wrong, a pass as taking the most it
may, the panel as thin as its thinnest spot: that is the conservative allowance, and it counts. The
hopeful one takes each the other way; it is shown beside the first.

What earlier hands took off no reading shows. The share that must stay therefore holds room for it,
and a panel that is thin beside the rest of its car gets no such credit: there the layers beneath
are taken at their thickest.

Layers from memory: e-coat 15 to 25, primer 25 to 40, base coat 10 to 25, clear coat 35 to 50
microns, single-stage colour 40 to 60. Removal by pass, what to keep and what to spend: common
practice, no source.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

from jobs.work.calc.paint.statistics import gauge_error
from jobs.work.calc.paint.system import PaintSystem


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
COLOUR_COAT_MICRONS = Bounds(40, 60)
# What one pass takes off: the machine over the whole panel once with one pad and product.
CUT_MICRONS = Bounds(2.0, 4.0)
FINISH_MICRONS = Bounds(0.5, 1.0)
# What must stay of the top coat at the very least, and the most of it to spend on one car: the
# upper figure is the hopeful one.
CLEAR_TO_KEEP_MICRONS = 10.0
CLEAR_TO_SPEND_MICRONS = Bounds(10, 12)
COLOUR_TO_KEEP_MICRONS = 25.0
COLOUR_TO_SPEND_MICRONS = Bounds(12, 16)
# Of the thinnest clear as made this stays: what must stay, and 15 for what earlier hands may have
# taken. Colour keeps the same 25, all of which it needs to cover.
TO_LEAVE_MICRONS = 25.0
EARLIER_HANDS_MICRONS = TO_LEAVE_MICRONS - CLEAR_TO_KEEP_MICRONS
_ROUNDING = 1e-9  # 0.3 goes into 0.9 three times, whatever binary fractions say


@dataclass(frozen=True, slots=True)
class Budget:
    """For one paint system, in microns.

    `floor`: the film not to go below. `worn_floor`: the same for a panel that shows that something
    was taken off. `hopeful_floor`: the same at the very least. `spend`: the most to take off.
    """

    floor: float
    worn_floor: float
    hopeful_floor: float
    spend: Bounds


def _budget(beneath: Sequence[Bounds], keep: float, spend: Bounds) -> Budget:
    least, most = sum(layer.low for layer in beneath), sum(layer.high for layer in beneath)
    return Budget(least + TO_LEAVE_MICRONS, most + keep, least + keep, spend)


_CLEAR = _budget(
    (E_COAT_MICRONS, PRIMER_MICRONS, BASE_COAT_MICRONS),
    CLEAR_TO_KEEP_MICRONS,
    CLEAR_TO_SPEND_MICRONS,
)
_SINGLE = _budget((E_COAT_MICRONS, PRIMER_MICRONS), COLOUR_TO_KEEP_MICRONS, COLOUR_TO_SPEND_MICRONS)
# Not knowing which it is, take the stricter figure of the two each time.
_UNSURE = Budget(
    max(_CLEAR.floor, _SINGLE.floor),
    max(_CLEAR.worn_floor, _SINGLE.worn_floor),
    max(_CLEAR.hopeful_floor, _SINGLE.hopeful_floor),
    CLEAR_TO_SPEND_MICRONS,
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
    thin: bool = False,
    cut: Bounds = CUT_MICRONS,
    finish: Bounds = FINISH_MICRONS,
) -> Allowance:
    """Return what the film of one panel still allows.

    `spots`: each spot reading in microns with the work done since it was taken; one at least.
    `done`: all passes on the panel at this visit; what may be spent goes down by them, even where
    a later reading shows what is left, because nobody knows what earlier hands took off.
    `thin`: the panel is thin beside the rest of its car, so earlier hands did take off.
    A built-up panel gets no more than any other: nobody knows its layers. Raises ValueError
    without spots.
    """
    if not spots:
        raise ValueError("Without a reading nothing is known about the film.")
    budget = BUDGETS[system]

    def left(floor: float, spend: float, error: int, cut_by: float, finish_by: float) -> Left:
        film = min(
            microns + error * gauge_error(microns) - since.taken(cut_by, finish_by)
            for microns, since in spots
        )
        free = max(0.0, min(film - floor, spend - done.taken(cut_by, finish_by)))
        return Left(free, _times(free, cut_by), _times(free, finish_by))

    floor = budget.worn_floor if thin else budget.floor
    return Allowance(
        system=system,
        conservative=left(floor, budget.spend.low, -1, cut.high, finish.high),
        hopeful=left(budget.hopeful_floor, budget.spend.high, 1, cut.low, finish.low),
        assumption=assumption(system, cut, finish, thin=thin),
    )


def _times(microns: float, by: float) -> int:
    return math.floor(microns / by + _ROUNDING)


def fits(allowance: Allowance, work: Work) -> bool:
    """Return whether the conservative allowance covers further passes, all of one kind."""
    left = allowance.conservative
    return work.cut <= left.cut_passes and work.finish <= left.finish_passes


def assumption(system: PaintSystem, cut: Bounds, finish: Bounds, *, thin: bool = False) -> str:
    """Return in words what the allowance assumes, and why it is no more."""
    budget = BUDGETS[system]
    return " ".join(
        [
            (
                "A total reading cannot tell the layers apart, so this is a bound. Layers as made: "
                f"e-coat {_span(E_COAT_MICRONS)}, primer {_span(PRIMER_MICRONS)}, {_top(system)} "
                "microns (usual figures, no data sheet)."
            ),
            _worn(budget) if thin else _as_made(budget, system),
            (
                "The conservative figure counts: the gauge reads too much by 1 micron and 3 %, the "
                f"thinnest spot decides, at most {budget.spend.low:g} microns are spent, a cutting "
                f"pass takes {cut.high:g} and a finishing pass {finish.high:g} (common practice, "
                "no source). Keep a finishing pass for after the last cut."
            ),
        ]
    )


def _top(system: PaintSystem) -> str:
    clear = f"base coat {_span(BASE_COAT_MICRONS)}, clear coat {_span(CLEAR_COAT_MICRONS)}"
    colour = f"single-stage colour {_span(COLOUR_COAT_MICRONS)}"
    return {
        PaintSystem.CLEAR_OVER_BASE: clear,
        PaintSystem.SINGLE_STAGE: colour,
        PaintSystem.UNSURE: f"{clear} or {colour}",
    }[system]


def _as_made(budget: Budget, system: PaintSystem) -> str:
    """Return why an ordinary panel has its allowance: the least sum of its layers."""
    single = system is PaintSystem.SINGLE_STAGE
    top = COLOUR_COAT_MICRONS.low if single else CLEAR_COAT_MICRONS.low
    least = budget.floor - TO_LEAVE_MICRONS + top
    name = "colour" if single else "clear"
    room = (
        f"of which {COLOUR_TO_KEEP_MICRONS:g} stay to cover"
        if single
        else f"of which {CLEAR_TO_KEEP_MICRONS:g} must stay and {EARLIER_HANDS_MICRONS:g} are left "
        "for what earlier hands may have taken; where they took more, this is too much"
    )
    return (
        f"Together they make {least:g} or more, with {top:g} of {name} or more, {room}. What a "
        f"reading lacks of {least:g} counts as gone from the {name}, so nothing may go at "
        f"{budget.floor:g} or less."
    )


def _worn(budget: Budget) -> str:
    """Return why a thin panel has less: something was taken off it before."""
    return (
        "This panel is thin beside the rest of the car, so earlier hands may have taken much: the "
        f"layers beneath count at their thickest, and nothing may go at {budget.worn_floor:g} or "
        "less."
    )


def _span(bounds: Bounds) -> str:
    return f"{bounds.low:g}-{bounds.high:g}"
