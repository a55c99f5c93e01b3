"""The car to be tapped: every area is there once, and a thumb finds each."""

from itertools import product

from jobs.work.calc.car.areas import AREAS, PANELS, Group
from jobs.work.calc.findings import FindingKind
from jobs.work.drawings.car_picker import CELLS, COLUMNS, ROWS, THUMB, kinds_first, not_drawn


def test_every_area_is_offered_once() -> None:
    offered = [cell.area for cell in CELLS]
    offered += [area.code for areas in not_drawn().values() for area in areas]
    assert sorted(offered) == sorted(AREAS)


def test_every_panel_is_on_the_drawing() -> None:
    assert set(PANELS) <= {cell.area for cell in CELLS}


def test_every_cell_is_a_thumb_wide_and_high_and_on_the_grid() -> None:
    for cell in CELLS:
        assert cell.width >= THUMB, cell
        assert cell.height >= THUMB, cell
        assert 1 <= cell.column <= cell.column + cell.width - 1 <= COLUMNS, cell
        assert 1 <= cell.row <= cell.row + cell.height - 1 <= ROWS, cell


def test_no_two_cells_lie_on_each_other() -> None:
    taken: dict[tuple[int, int], str] = {}
    for cell in CELLS:
        for place in product(
            range(cell.column, cell.column + cell.width), range(cell.row, cell.row + cell.height)
        ):
            assert place not in taken, (cell.area, taken.get(place))
            taken[place] = cell.area


def test_the_right_side_mirrors_the_left() -> None:
    placed = {cell.area: cell for cell in CELLS}
    for cell in CELLS:
        if twin := AREAS[cell.area].twin:
            opposite = placed[twin]
            assert (opposite.row, opposite.width, opposite.height) == (
                cell.row,
                cell.width,
                cell.height,
            )
            assert opposite.column == COLUMNS + 2 - cell.column - cell.width


def test_what_is_inside_is_offered_in_words() -> None:
    words = not_drawn()
    assert {Group.INSIDE, Group.MECHANICAL, Group.WHOLE} <= set(words)
    assert "dashboard" in {area.code for area in words[Group.INSIDE]}


def test_the_phrases_that_fit_an_area_come_first() -> None:
    assert FindingKind.BODY_AND_PAINT in kinds_first("bonnet")
    assert kinds_first("left_front_wheel") == (FindingKind.WHEELS_AND_TYRES,)
    assert FindingKind.BELONGINGS in kinds_first("load_area")
    assert {kind for area in AREAS for kind in kinds_first(area)} == set(FindingKind)
