"""Pads and compound for an area."""

import pytest

from jobs.work.calc.car.areas import PANELS
from jobs.work.calc.paint.pads import AREAS_BY_SIZE, areas_of, supplies_for
from jobs.work.calc.paint.system import PaintSystem
from jobs.work.models import Job


def test_a_small_van_in_single_stage_paint_takes_about_ten_fresh_pads() -> None:
    """Common practice, no source."""
    area = sum(areas_of("small_van").values())
    assert 9 <= supplies_for(area, PaintSystem.SINGLE_STAGE).pads <= 11


def test_single_stage_loads_more_pads_than_clear_and_unsure_is_taken_for_it() -> None:
    single = supplies_for(12, PaintSystem.SINGLE_STAGE)
    assert single.pads > 2 * supplies_for(12, PaintSystem.CLEAR_OVER_BASE).pads
    assert supplies_for(12, PaintSystem.UNSURE) == single


def test_even_a_small_area_takes_a_pad_to_cut_and_one_to_finish() -> None:
    assert supplies_for(0.5, PaintSystem.CLEAR_OVER_BASE).pads == 2
    assert supplies_for(0, PaintSystem.CLEAR_OVER_BASE).pads == 0


def test_compound_goes_by_the_area() -> None:
    assert supplies_for(10, PaintSystem.CLEAR_OVER_BASE).compound_millilitres == 120


@pytest.mark.parametrize("size", [*Job.BodySize.values, ""])
def test_every_body_size_has_areas_of_known_panels_the_same_on_both_sides(size: str) -> None:
    areas = areas_of(size)
    assert set(areas) <= set(PANELS)
    for code, area in areas.items():
        assert area > 0
        if twin := PANELS[code].twin:
            assert areas[twin] == area


def test_larger_bodies_have_more_paint() -> None:
    totals = {size: sum(areas.values()) for size, areas in AREAS_BY_SIZE.items()}
    assert list(totals.values()) == sorted(totals.values())
    assert areas_of("") == areas_of("medium")
