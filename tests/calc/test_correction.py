"""The allowance: a bound that is never negative and never grows by polishing."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from jobs.calc.correction import (
    BASE_COAT_MICRONS,
    BUDGETS,
    E_COAT_MICRONS,
    PRIMER_MICRONS,
    Allowance,
    Bounds,
    Work,
    allowance_of,
    fits,
)
from jobs.calc.paint_system import PaintSystem

CLEAR, SINGLE, UNSURE = (
    PaintSystem.CLEAR_OVER_BASE,
    PaintSystem.SINGLE_STAGE,
    PaintSystem.UNSURE,
)
MICRONS = st.floats(0, 5000)
WORKS = st.builds(Work, st.integers(0, 30), st.integers(0, 30))
SYSTEMS = st.sampled_from(PaintSystem)
NONE = Work()


def allowed(microns: float, system: PaintSystem = CLEAR, done: Work = NONE) -> Allowance:
    """Return the allowance of a panel with one spot, read before the work."""
    return allowance_of([(microns, done)], done=done, system=system)


def test_the_floor_is_the_layers_beneath_at_their_thickest_and_a_rest_of_clear() -> None:
    """E-coat 15-25, primer 25-40, base 10-25, clear 35-50 microns: from memory."""
    beneath = E_COAT_MICRONS.high + PRIMER_MICRONS.high + BASE_COAT_MICRONS.high
    assert beneath == 90
    assert BUDGETS[CLEAR].floor.high == 100
    assert BUDGETS[CLEAR].floor.low == 60


@pytest.mark.parametrize(
    ("microns", "system", "spare", "cut", "finish"),
    [
        (99, CLEAR, 0, 0, 0),
        (100, CLEAR, 0, 0, 0),
        (104, CLEAR, 4, 1, 4),
        (110, CLEAR, 10, 2, 10),
        (130, CLEAR, 10, 2, 10),
        (400, CLEAR, 10, 2, 10),  # built up: nobody knows the layers, no more for it
        (90, SINGLE, 0, 0, 0),
        (98, SINGLE, 8, 2, 8),
        (130, SINGLE, 12, 3, 12),
        (104, UNSURE, 4, 1, 4),  # the stricter of the two
        (130, UNSURE, 10, 2, 10),
    ],
)
def test_the_conservative_allowance(
    microns: float, system: PaintSystem, spare: float, cut: int, finish: int
) -> None:
    left = allowed(microns, system).conservative
    assert (left.microns, left.cut_passes, left.finish_passes) == (spare, cut, finish)


def test_the_hopeful_figure_is_shown_beside_it() -> None:
    one = allowed(96)
    assert one.conservative.cut_passes == 0
    assert one.hopeful.cut_passes == 6


def test_passes_done_come_off() -> None:
    assert allowed(130, done=Work(cut=1)).conservative.cut_passes == 1
    assert allowed(130, done=Work(cut=1, finish=2)).conservative.microns == 4
    assert allowed(130, done=Work(cut=3)).conservative.microns == 0


def test_a_reading_after_the_passes_has_them_in_it_but_what_may_be_spent_is_spent() -> None:
    before = allowance_of([(106, Work(cut=1))], done=Work(cut=1), system=CLEAR)
    after = allowance_of([(106, NONE)], done=Work(cut=1), system=CLEAR)
    assert (before.conservative.microns, after.conservative.microns) == (2, 6)
    assert allowance_of([(130, NONE)], done=Work(cut=2), system=CLEAR).conservative.microns == 2


def test_the_thinnest_spot_decides() -> None:
    spots = [(130.0, NONE), (103.0, NONE), (120.0, NONE)]
    assert allowance_of(spots, done=NONE, system=CLEAR).conservative.microns == 3


def test_what_a_pass_removes_can_be_set() -> None:
    one = allowance_of(
        [(130, NONE)], done=NONE, system=CLEAR, cut=Bounds(1, 2), finish=Bounds(0.1, 0.3)
    )
    assert one.conservative.cut_passes == 5
    assert one.conservative.finish_passes == 33
    assert "2 microns a cutting pass, 0.3 a finishing pass" in one.assumption


@pytest.mark.parametrize("system", list(PaintSystem))
def test_the_assumption_says_that_it_is_a_bound(system: PaintSystem) -> None:
    text = allowed(120, system).assumption
    assert "A total reading cannot tell the layers apart" in text
    assert "The conservative figure counts" in text
    assert "common practice, no source" in text


def test_without_a_reading_there_is_no_allowance() -> None:
    with pytest.raises(ValueError, match="Without a reading"):
        allowance_of([], done=NONE, system=CLEAR)


@pytest.mark.parametrize(("low", "high"), [(0, 1), (-1, 1), (2, 1)])
def test_bounds_that_cross_are_refused(low: float, high: float) -> None:
    with pytest.raises(ValueError, match="Bounds"):
        Bounds(low, high)


@given(MICRONS, SYSTEMS, WORKS)
def test_it_is_never_negative_and_never_above_the_hopeful_figure(
    microns: float, system: PaintSystem, done: Work
) -> None:
    one = allowed(microns, system, done)
    for left in (one.conservative, one.hopeful):
        assert min(left.microns, left.cut_passes, left.finish_passes) >= 0
    assert one.conservative.microns <= one.hopeful.microns
    assert one.conservative.cut_passes <= one.hopeful.cut_passes
    assert one.conservative.finish_passes <= one.hopeful.finish_passes


@given(MICRONS, SYSTEMS, WORKS, WORKS)
def test_it_never_grows_with_more_passes(
    microns: float, system: PaintSystem, done: Work, more: Work
) -> None:
    before = allowed(microns, system, done)
    after = allowed(microns, system, Work(done.cut + more.cut, done.finish + more.finish))
    assert after.conservative.microns <= before.conservative.microns
    assert after.hopeful.microns <= before.hopeful.microns


@given(MICRONS, MICRONS, SYSTEMS, WORKS)
def test_it_never_grows_with_thinner_paint(
    one: float, other: float, system: PaintSystem, done: Work
) -> None:
    thin, thick = sorted((one, other))
    assert (
        allowed(thin, system, done).conservative.microns
        <= allowed(thick, system, done).conservative.microns
    )
    both = allowance_of([(thick, done), (thin, done)], done=done, system=system)
    assert both.conservative == allowed(thin, system, done).conservative


@given(MICRONS, SYSTEMS, st.integers(0, 10))
def test_what_fits_can_be_done_and_leaves_no_debt(
    microns: float, system: PaintSystem, passes: int
) -> None:
    one = allowed(microns, system)
    assert fits(one, Work(cut=passes)) == (passes <= one.conservative.cut_passes)
    assert fits(one, Work(finish=passes)) == (passes <= one.conservative.finish_passes)
    if fits(one, Work(cut=passes)):
        after = allowed(microns, system, Work(cut=passes)).conservative
        assert after.cut_passes == one.conservative.cut_passes - passes
