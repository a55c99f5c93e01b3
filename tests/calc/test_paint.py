"""Classes, twins, materials and cautions of the paint survey."""

import random
from collections.abc import Mapping

import pytest
from hypothesis import given
from hypothesis import strategies as st

from jobs.calc.areas import PANELS
from jobs.calc.paint import (
    CANNOT_TELL,
    MANY_STAND_OUT,
    MIXED_MATERIALS,
    PROVES_NOTHING,
    FilmClass,
    Material,
    PanelResult,
    Spot,
    Survey,
    survey_of,
)
from jobs.calc.paint_offers import offers_of

SOUND = {
    "bonnet": 112.0,
    "roof": 118.0,
    "tailgate": 121.0,
    "left_front_wing": 109.0,
    "right_front_wing": 115.0,
    "left_front_door": 117.0,
    "right_front_door": 113.0,
}
MICRONS = st.integers(0, 5000).map(float)
CARS = st.dictionaries(st.sampled_from(list(PANELS)), MICRONS, min_size=1, max_size=21)


def spots(car: Mapping[str, float], material: Material = Material.STEEL) -> list[Spot]:
    return [Spot(panel, material, (value,) * 3) for panel, value in car.items()]


def surveyed(**changes: float) -> Survey:
    return survey_of(spots({**SOUND, **changes}))


def panel(survey: Survey, code: str) -> PanelResult:
    return next(one for one in survey.panels if one.panel == code)


@pytest.mark.parametrize(
    ("microns", "film_class"),
    [
        (112, "as made"),
        (151, "as made"),  # 34 above 117: within 3.5 times the least spread
        (153, "built up"),
        (240, "built up"),
        (260, "built up"),
        (261, "much built up"),
        (1500, "much built up"),
        (81, "as made"),
        (79, "thin"),
        (0, "thin"),
    ],
)
def test_a_panel_is_classed_beside_the_rest_of_the_car(microns: float, film_class: str) -> None:
    assert panel(surveyed(bonnet=microns), "bonnet").film_class.words == film_class


def test_the_example_flags_the_one_high_panel_only() -> None:
    """NIST/SEMATECH handbook 1.3.5.17 (from memory); see test_paint_statistics."""
    values = [112.0, 118.0, 121.0, 109.0, 115.0, 117.0, 113.0, 240.0, 119.0, 116.0]
    survey = survey_of(spots(dict(zip(PANELS, values, strict=False))))
    assert [one.microns for one in survey.panels if one.film_class is not FilmClass.AS_MADE] == [
        240
    ]
    high = next(one for one in survey.panels if one.microns == 240)
    assert high.modified_z == pytest.approx(27.7669, abs=5e-5)
    assert high.z_counted == pytest.approx(12.4)
    assert survey.baselines[0].median_microns == 116.5
    assert survey.baselines[0].mad_microns == 3


@pytest.mark.parametrize("count", [1, 2, 3, 4])
def test_with_fewer_than_five_metal_panels_it_cannot_tell(count: int) -> None:
    few = dict(list(SOUND.items())[: count - 1]) | {"left_sill": 300.0}
    plastic = [Spot("front_bumper", Material.PLASTIC), Spot("rear_bumper", Material.PLASTIC)]
    survey = survey_of([*spots(few), *plastic])
    assert not survey.can_tell
    assert CANNOT_TELL in survey.cautions
    high = panel(survey, "left_sill")
    assert high.film_class is FilmClass.CANNOT_TELL
    assert (high.modified_z, high.z_counted, high.difference_microns) == (None, None, None)
    assert any("Over 260 microns" in reason for reason in high.reasons)  # mentioned, not judged
    assert offers_of(survey) == ()


def test_five_metal_panels_are_enough() -> None:
    survey = survey_of(spots(dict(list(SOUND.items())[:5])))
    assert survey.can_tell
    assert CANNOT_TELL not in survey.cautions


def test_every_survey_says_that_thickness_proves_nothing() -> None:
    for car in ({}, {"roof": 100.0}, SOUND, {**SOUND, "roof": 400.0}):
        assert survey_of(spots(car)).cautions[0] == PROVES_NOTHING
    assert "80 to 130 microns" in PROVES_NOTHING
    assert "thickness alone never proves an accident" in PROVES_NOTHING


def test_plastic_gives_no_reading_and_takes_no_part() -> None:
    survey = survey_of([*spots(SOUND), Spot("front_bumper", Material.PLASTIC)])
    bumper = panel(survey, "front_bumper")
    assert bumper.film_class is FilmClass.NO_READING
    assert bumper.microns is None
    assert "front_bumper" not in survey.baselines[0].panels


def test_a_panel_counts_with_the_median_of_its_spots() -> None:
    three = [Spot("bonnet", Material.STEEL, (value,) * 3) for value in (110.0, 116.0, 300.0)]
    rest = {code: value for code, value in SOUND.items() if code != "bonnet"}
    one = panel(survey_of([*spots(rest), *three]), "bonnet")
    assert (one.microns, one.lowest_microns, one.highest_microns) == (116, 110, 300)
    assert one.film_class is FilmClass.AS_MADE
    assert any("One spot reads 300 microns" in reason for reason in one.reasons)


def test_a_thin_spot_on_an_ordinary_panel_is_told() -> None:
    two = [Spot("bonnet", Material.STEEL, (value,) * 3) for value in (50.0, 116.0, 117.0)]
    rest = {code: value for code, value in SOUND.items() if code != "bonnet"}
    one = panel(survey_of([*spots(rest), *two]), "bonnet")
    assert any("One spot reads 50 microns: take care" in reason for reason in one.reasons)


def test_twins_are_compared_left_less_right() -> None:
    survey = surveyed(left_front_door=200, right_front_door=113)
    (wings, doors) = survey.twins
    assert (wings.left, wings.right, wings.difference_microns) == (
        "left_front_wing",
        "right_front_wing",
        -6,
    )
    assert wings.alike
    assert doors.difference_microns == 87
    assert not doors.alike


def test_an_aluminium_bonnet_is_judged_by_the_steel_panels_and_says_so() -> None:
    steel = {code: value for code, value in SOUND.items() if code != "bonnet"}
    bonnet = Spot("bonnet", Material.ALUMINIUM, (170.0,) * 3)
    survey = survey_of([*spots(steel), bonnet])
    assert "bonnet" not in survey.baselines[0].panels
    one = panel(survey, "bonnet")
    assert one.film_class is FilmClass.BUILT_UP
    assert one.modified_z is None
    assert any("aluminium" in reason for reason in one.reasons)
    assert MIXED_MATERIALS not in survey.cautions


def test_where_neither_metal_has_five_panels_all_are_compared_with_a_caution() -> None:
    half = dict(list(SOUND.items())[:4])
    rest = dict(list(SOUND.items())[4:])
    survey = survey_of([*spots(half), *spots(rest, Material.ALUMINIUM)])
    assert survey.can_tell
    assert MIXED_MATERIALS in survey.cautions
    assert len(survey.baselines[0].panels) == 7


def test_a_car_painted_all_over_is_told_of_as_far_as_it_can_be() -> None:
    survey = survey_of(spots({code: value + 90 for code, value in SOUND.items()}))
    assert {one.film_class for one in survey.panels} == {FilmClass.AS_MADE}
    assert any("outside the 80 to 130" in caution for caution in survey.cautions)


def test_where_half_of_the_panels_stand_out_it_is_a_hint_at_most() -> None:
    survey = surveyed(bonnet=300, roof=310, tailgate=290, left_front_wing=320)
    assert MANY_STAND_OUT in survey.cautions
    assert MANY_STAND_OUT not in surveyed(bonnet=300).cautions


def test_signs_of_refinish_are_offered_as_provenance() -> None:
    survey = surveyed(left_front_door=190, bonnet=400, roof=60)
    bonnet, door = offers_of(survey)  # none for the thin roof
    assert (bonnet.area, bonnet.kind, bonnet.weight) == ("bonnet", "provenance", "before_sale")
    assert (door.area, door.kind, door.weight) == (
        "left_front_door",
        "provenance",
        "for_information",
    )
    assert "Left and right differ by 77 microns" in door.noticed
    assert "never proves an accident" in door.advice
    for one in (bonnet, door):
        assert one.from_paint_survey
        assert len(one.noticed) <= 500
        assert len(one.circumstance) <= 200
        assert len(one.advice) <= 500


@given(CARS, st.randoms())
def test_the_order_of_spots_does_not_matter(car: dict[str, float], rng: random.Random) -> None:
    there = spots(car)
    shuffled = list(there)
    rng.shuffle(shuffled)
    assert survey_of(shuffled) == survey_of(there)


@given(CARS)
def test_every_panel_measured_is_classed_with_a_reason(car: dict[str, float]) -> None:
    survey = survey_of(spots(car))
    assert {one.panel for one in survey.panels} == set(car)
    assert survey.can_tell == (len(car) >= 5)
    for one in survey.panels:
        assert one.reasons
        assert (one.film_class is FilmClass.CANNOT_TELL) == (not survey.can_tell)
    assert {one.area for one in offers_of(survey)} <= set(car)
