"""The allowance: a bound that is never negative and never grows by polishing."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from jobs.work.calc.paint.correction import (
    BASE_COAT_MICRONS,
    BUDGETS,
    CLEAR_COAT_MICRONS,
    CLEAR_TO_KEEP_MICRONS,
    CLEAR_TO_SPEND_MICRONS,
    E_COAT_MICRONS,
    PRIMER_MICRONS,
    Allowance,
    Bounds,
    Work,
    allowance_of,
    fits,
)
from jobs.work.calc.paint.statistics import gauge_error
from jobs.work.calc.paint.system import PaintSystem

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


def test_the_floor_is_the_least_sum_of_the_layers_less_what_may_go() -> None:
    """E-coat 15-25, primer 25-40, base 10-25, clear 35-50 microns: from memory."""
    beneath = E_COAT_MICRONS.low + PRIMER_MICRONS.low + BASE_COAT_MICRONS.low
    assert beneath + CLEAR_COAT_MICRONS.low == 85
    assert BUDGETS[CLEAR].floor == 75 == 85 - CLEAR_TO_SPEND_MICRONS.low
    assert BUDGETS[CLEAR].hopeful_floor == 60
    thickest = E_COAT_MICRONS.high + PRIMER_MICRONS.high + BASE_COAT_MICRONS.high
    assert BUDGETS[CLEAR].worn_floor == 100 == thickest + CLEAR_TO_KEEP_MICRONS


@pytest.mark.parametrize(
    ("microns", "system", "spare", "cut", "finish"),
    [
        # A reading may be too high by 1 + 3 %: 78.35 less 3.3505 is the floor, 75.
        (70, CLEAR, 0, 0, 0),
        (78, CLEAR, 0, 0, 0),
        (80, CLEAR, 1.6, 0, 1),
        (85, CLEAR, 6.45, 1, 6),
        (90, CLEAR, 10, 2, 10),
        (100, CLEAR, 10, 2, 10),
        (130, CLEAR, 10, 2, 10),
        (400, CLEAR, 10, 2, 10),  # thick: nobody knows the layers, no more for it
        (68, SINGLE, 0, 0, 0),
        (80, SINGLE, 11.6, 2, 11),
        (130, SINGLE, 12, 3, 12),
        (80, UNSURE, 1.6, 0, 1),  # the stricter of the two
        (130, UNSURE, 10, 2, 10),
    ],
)
def test_the_conservative_allowance(
    microns: float, system: PaintSystem, spare: float, cut: int, finish: int
) -> None:
    left = allowed(microns, system).conservative
    assert left.microns == pytest.approx(spare)
    assert (left.cut_passes, left.finish_passes) == (cut, finish)


@pytest.mark.parametrize("microns", range(85, 131))
def test_what_series_production_gives_can_be_polished_without_an_excuse(microns: int) -> None:
    """A body's paint totals 80 to 130 from series production; the layers add up to 85 at least."""
    for system in PaintSystem:
        assert fits(allowed(microns, system), Work(cut=1))


@pytest.mark.parametrize("system", list(PaintSystem))
@pytest.mark.parametrize("microns", range(60, 141))
def test_on_factory_paint_the_most_it_allows_leaves_what_must_stay(
    microns: int, system: PaintSystem
) -> None:
    """Whatever layers add up to the true film, as made or 15 thinner by earlier hands.

    The gauge reads too much by all it may; every pass takes the most.
    """
    budget_clear = system is not SINGLE
    beneath = 50 if budget_clear else 40
    top_least = 35 if budget_clear else 40
    keep = 10 if budget_clear else 25
    worn = 15 if budget_clear else 0
    film = microns - gauge_error(microns)
    top = max(top_least, film - (90 if budget_clear else 65))
    if film < beneath + top_least:  # cannot be as made: what lacks is gone from the top
        top = film - beneath
    gone = allowed(microns, system).conservative.microns
    if gone:
        assert top - worn - gone >= keep - 1e-9


def test_a_panel_thin_beside_the_rest_gets_no_credit_for_its_layers() -> None:
    def thin(microns: float) -> Allowance:
        return allowance_of([(microns, NONE)], done=NONE, system=CLEAR, thin=True)

    assert allowed(100).conservative.cut_passes == 2
    assert thin(104).conservative.microns == 0  # with the gauge's error: 99.88
    assert thin(108).conservative.cut_passes == 0
    assert thin(108).conservative.finish_passes == 3
    assert "thin beside the rest of the car" in thin(100).assumption


def test_the_hopeful_figure_is_shown_beside_it() -> None:
    allowance = allowed(78)
    assert allowance.conservative.cut_passes == 0
    assert allowance.hopeful.cut_passes == 6


def test_passes_done_come_off() -> None:
    assert allowed(130, done=Work(cut=1)).conservative.cut_passes == 1
    assert allowed(130, done=Work(cut=1, finish=2)).conservative.microns == 4
    assert allowed(130, done=Work(cut=3)).conservative.microns == 0


def test_a_reading_after_the_passes_has_them_in_it_but_what_may_be_spent_is_spent() -> None:
    before = allowance_of([(84, Work(cut=1))], done=Work(cut=1), system=CLEAR)
    after = allowance_of([(84, NONE)], done=Work(cut=1), system=CLEAR)
    assert before.conservative.microns == pytest.approx(84 - 3.52 - 4 - 75)
    assert after.conservative.microns == pytest.approx(84 - 3.52 - 75)
    assert allowance_of([(130, NONE)], done=Work(cut=2), system=CLEAR).conservative.microns == 2


def test_the_thinnest_spot_decides() -> None:
    spots = [(130.0, NONE), (82.0, NONE), (120.0, NONE)]
    left = allowance_of(spots, done=NONE, system=CLEAR).conservative
    assert left.microns == pytest.approx(82 - 3.46 - 75)


def test_what_a_pass_removes_can_be_set() -> None:
    allowance = allowance_of(
        [(130, NONE)], done=NONE, system=CLEAR, cut=Bounds(1, 2), finish=Bounds(0.1, 0.3)
    )
    assert allowance.conservative.cut_passes == 5
    assert allowance.conservative.finish_passes == 33
    assert "a cutting pass takes 2 and a finishing pass 0.3" in allowance.assumption


@pytest.mark.parametrize("system", list(PaintSystem))
def test_the_assumption_says_that_it_is_a_bound(system: PaintSystem) -> None:
    text = allowed(120, system).assumption
    assert "A total reading cannot tell the layers apart" in text
    assert "The conservative figure counts" in text
    assert "common practice, no source" in text
    assert "the gauge reads too much by 1 micron and 3 %" in text
    assert f"nothing may go at {BUDGETS[system].floor:g} or less" in text


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
    allowance = allowed(microns, system, done)
    for left in (allowance.conservative, allowance.hopeful):
        assert min(left.microns, left.cut_passes, left.finish_passes) >= 0
    assert allowance.conservative.microns <= allowance.hopeful.microns
    assert allowance.conservative.cut_passes <= allowance.hopeful.cut_passes
    assert allowance.conservative.finish_passes <= allowance.hopeful.finish_passes


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
    first: float, second: float, system: PaintSystem, done: Work
) -> None:
    thin, thick = sorted((first, second))
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
    allowance = allowed(microns, system)
    assert fits(allowance, Work(cut=passes)) == (passes <= allowance.conservative.cut_passes)
    assert fits(allowance, Work(finish=passes)) == (passes <= allowance.conservative.finish_passes)
    if fits(allowance, Work(cut=passes)):
        after = allowed(microns, system, Work(cut=passes)).conservative
        assert after.cut_passes == allowance.conservative.cut_passes - passes
