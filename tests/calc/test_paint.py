"""Classes, twins, materials and cautions of the paint survey."""

import random
from collections.abc import Mapping

import pytest
from hypothesis import given
from hypothesis import strategies as st

from jobs.work.calc.car.areas import PANELS
from jobs.work.calc.paint.comparison import Comparison, Doubt
from jobs.work.calc.paint.film import CHECK_FIRST, WHOLE_CAR, FilmAnswer
from jobs.work.calc.paint.offers import offers_of
from jobs.work.calc.paint.survey import (
    CANNOT_TELL,
    MANY_STAND_OUT,
    PROVES_NOTHING,
    THICK,
    FilmClass,
    Material,
    PanelResult,
    Spot,
    Survey,
    sentence_of,
    survey_of,
)

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


STEEL, ALUMINIUM, PLASTIC = Material


def spots(car: Mapping[str, float], material: Material = STEEL) -> list[Spot]:
    return [Spot(panel, material, (value,) * 3) for panel, value in car.items()]


def surveyed(**changes: float) -> Survey:
    return survey_of(spots({**SOUND, **changes}))


def panel(survey: Survey, code: str) -> PanelResult:
    return next(result for result in survey.panels if result.panel == code)


def comparison(survey: Survey, metal: Material = STEEL) -> Comparison:
    return next(compared for compared in survey.comparisons if compared.metal == metal)


def in_order(*microns: float, after: int = 0) -> dict[str, float]:
    """Return a car of so many panels of our list, those before left out."""
    return dict(zip(list(PANELS)[after:], microns, strict=False))


@pytest.mark.parametrize(
    ("microns", "film_class"),
    [
        (112, "like the rest"),
        (151, "like the rest"),  # 34 above 117: within 3.5 times the least spread
        (153, "thicker than the rest"),
        (240, "thicker than the rest"),
        (260, "thicker than the rest"),
        (261, "much thicker than the rest"),
        (1500, "much thicker than the rest"),
        (81, "like the rest"),
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
    assert [
        result.microns for result in survey.panels if result.film_class is not FilmClass.AS_MADE
    ] == [240]
    high = next(result for result in survey.panels if result.microns == 240)
    assert high.modified_z == pytest.approx(27.7669, abs=5e-5)
    assert high.z_counted == pytest.approx(12.4)
    assert comparison(survey).baselines[0].median_microns == 116.5
    assert comparison(survey).baselines[0].mad_microns == 3


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
    assert [compared.metal for compared in survey.comparisons] == ["steel"]
    assert "front_bumper" not in comparison(survey).baselines[0].panels


def test_a_panel_counts_with_the_median_of_its_spots() -> None:
    three = [Spot("bonnet", Material.STEEL, (value,) * 3) for value in (110.0, 116.0, 300.0)]
    rest = {code: value for code, value in SOUND.items() if code != "bonnet"}
    bonnet = panel(survey_of([*spots(rest), *three]), "bonnet")
    assert (bonnet.microns, bonnet.lowest_microns, bonnet.highest_microns) == (116, 110, 300)
    assert bonnet.film_class is FilmClass.AS_MADE
    assert any("One spot reads 300 microns" in reason for reason in bonnet.reasons)


def test_a_thin_spot_on_an_ordinary_panel_is_told() -> None:
    two = [Spot("bonnet", Material.STEEL, (value,) * 3) for value in (50.0, 116.0, 117.0)]
    rest = {code: value for code, value in SOUND.items() if code != "bonnet"}
    bonnet = panel(survey_of([*spots(rest), *two]), "bonnet")
    assert any("One spot reads 50 microns: take care" in reason for reason in bonnet.reasons)


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


def test_an_aluminium_bonnet_alone_is_compared_with_nothing_and_says_so() -> None:
    steel = {code: value for code, value in SOUND.items() if code != "bonnet"}
    survey = survey_of([*spots(steel), Spot("bonnet", ALUMINIUM, (170.0,) * 3)])
    bonnet = panel(survey, "bonnet")
    assert bonnet.film_class is FilmClass.CANNOT_TELL
    assert (bonnet.modified_z, bonnet.z_counted, bonnet.difference_microns) == (None, None, None)
    assert any("Only 1 aluminium panel was measured" in reason for reason in bonnet.reasons)
    assert any("compared with nothing" in caution for caution in survey.cautions)
    assert survey.can_tell  # of the steel
    assert panel(survey, "roof").film_class is FilmClass.AS_MADE
    assert offers_of(survey) == ()


def test_seven_of_steel_and_six_of_aluminium_are_each_compared_with_themselves() -> None:
    metal = [*spots(in_order(*[110] * 7)), *spots(in_order(*[149] * 6, after=7), ALUMINIUM)]
    survey = survey_of(metal)
    assert not {result.film_class for result in survey.panels} & THICK
    assert offers_of(survey) == ()
    assert [compared.doubt for compared in survey.comparisons] == [Doubt.NONE, Doubt.OUTSIDE_SERIES]
    assert any(
        "The usual aluminium panel reads 149 microns" in caution for caution in survey.cautions
    )
    assert sentence_of(survey).endswith("No steel panel stands out from the rest.")
    high = survey_of([*metal, *spots({"right_door_mirror": 300.0}, ALUMINIUM)])
    (offer,) = offers_of(high)
    assert "usual aluminium panel of this car reads 149" in offer.noticed
    assert comparison(high, ALUMINIUM).caveats[0] in offer.advice


def test_where_neither_metal_has_five_panels_nothing_is_compared() -> None:
    half = dict(list(SOUND.items())[:4])
    rest = dict(list(SOUND.items())[4:])
    survey = survey_of([*spots(half), *spots(rest, ALUMINIUM)])
    assert not survey.can_tell
    assert {result.film_class for result in survey.panels} == {FilmClass.CANNOT_TELL}
    assert CANNOT_TELL in survey.cautions
    assert any("Only 3 aluminium panels were measured" in caution for caution in survey.cautions)


def test_the_twins_of_two_metals_are_not_compared() -> None:
    left = {"left_front_door": 110.0, "left_front_wing": 112.0}
    right = {"right_front_door": 165.0}
    survey = survey_of(
        [*spots(left), *spots(right, ALUMINIUM), *spots({"right_front_wing": 190.0})]
    )
    assert [(twin.left, twin.difference_microns) for twin in survey.twins] == [
        ("left_front_wing", -78)
    ]


@pytest.mark.parametrize(
    "microns",
    [
        (100, 100, 200, 200, 200),
        (100, 100, 100, 200, 200, 200),
        (98, 103, 101, 195, 204, 199, 210),
        (180, 178, 183, 181, 300, 310, 305),  # the thinner ones are not ordinary either
    ],
)
def test_two_groups_are_named_instead_of_classing_single_panels(microns: tuple[float, ...]) -> None:
    survey = survey_of(spots(in_order(*microns)))
    assert comparison(survey).doubt is Doubt.TWO_GROUPS
    assert {result.film_class for result in survey.panels} == {FilmClass.CANNOT_TELL}
    assert any("form two groups" in caution for caution in survey.cautions)
    groups = [result.reasons[1] for result in survey.panels]
    assert groups[0] == "It is in the thinner group."
    assert groups[-1] == "It is in the thicker group."
    assert offers_of(survey) == ()
    assert "form two groups" in sentence_of(survey)
    assert "stands out" not in sentence_of(survey)


def test_where_most_panels_are_ordinary_the_thicker_group_stands_out_with_the_caveat() -> None:
    survey = survey_of(spots(in_order(110, 108, 112, 111, 200, 205, 198)))
    assert comparison(survey).doubt is Doubt.NONE
    assert [result.film_class for result in survey.panels] == [FilmClass.AS_MADE] * 4 + [
        FilmClass.BUILT_UP
    ] * 3
    for offer in offers_of(survey):
        assert "4 at about 110 and 3 at about 200 microns" in offer.advice


@pytest.mark.parametrize(
    ("more", "says", "asks_for_film"),
    [
        (90, "more than the 80 to 130 of series production", True),
        (200, "more than rework in the factory makes", True),
        (-50, "less than the 80 to 130 of series production", False),
    ],
)
def test_an_unusual_car_is_told_of_instead_of_classing_its_panels(
    more: float, says: str, *, asks_for_film: bool
) -> None:
    survey = survey_of(spots({code: value + more for code, value in SOUND.items()}))
    assert {result.film_class for result in survey.panels} == {FilmClass.CANNOT_TELL}
    assert comparison(survey).doubt is Doubt.OUTSIDE_SERIES
    assert any(says in caution for caution in survey.cautions)
    assert all(any(says in reason for reason in result.reasons) for result in survey.panels)
    assert any(CHECK_FIRST in caution for caution in survey.cautions) == asks_for_film
    assert offers_of(survey) == ()


def test_a_panel_below_an_unusual_rest_is_not_called_thin() -> None:
    survey = survey_of(spots({**dict.fromkeys(SOUND, 200.0), "bonnet": 105.0}))
    bonnet = panel(survey, "bonnet")
    assert bonnet.film_class is FilmClass.CANNOT_TELL
    assert "95.0 microns below" in bonnet.reasons[0]


@pytest.mark.parametrize(("usual", "doubt"), [(134, "none"), (136, "outside_series")])
def test_the_edge_of_series_production_has_the_gauges_error(usual: float, doubt: str) -> None:
    survey = survey_of(spots(in_order(*[usual] * 6)))
    assert comparison(survey).doubt == doubt


def test_a_thick_panel_asks_for_a_film_before_it_is_called_anything() -> None:
    survey = survey_of(spots(in_order(110, 112, 108, 111, 109, 300)))
    high = survey.panels[-1]
    assert CHECK_FIRST in high.reasons
    assert CHECK_FIRST in sentence_of(survey)
    (offer,) = offers_of(survey)
    assert offer.advice.startswith(CHECK_FIRST)
    words = " ".join([*high.reasons, offer.noticed, offer.advice, *survey.cautions])
    assert "painted again" not in words
    assert "built up" not in words


@pytest.mark.parametrize("where", ["left_front_wing", WHOLE_CAR])
def test_without_a_film_it_may_have_been_painted_again(where: str) -> None:
    car = spots(in_order(110, 112, 108, 111, 109, 300))
    survey = survey_of(car, {where: FilmAnswer.NO})
    assert not any(result.wants_film_check for result in survey.panels)
    assert CHECK_FIRST not in " ".join([*survey.cautions, sentence_of(survey)])
    (offer,) = offers_of(survey)
    assert offer.advice.startswith("No film or wrap on it: it may have been painted again.")


def test_a_panel_with_a_film_is_compared_with_nothing() -> None:
    car = spots(in_order(110, 112, 108, 111, 109, 300, 115))
    filmed = list(PANELS)[5]
    survey = survey_of(car, {WHOLE_CAR: FilmAnswer.NO, filmed: FilmAnswer.YES})
    assert panel(survey, filmed).film_class.words == "film or wrap on it"
    assert filmed not in comparison(survey).values
    assert offers_of(survey) == ()
    assert sentence_of(survey) == "No panel stands out from the rest."
    wrapped = survey_of(car, {WHOLE_CAR: FilmAnswer.YES})
    assert {result.film_class for result in wrapped.panels} == {FilmClass.FILM_ON_IT}
    assert not wrapped.can_tell
    assert CANNOT_TELL in wrapped.cautions


def test_an_answer_taken_back_is_none() -> None:
    car = spots(in_order(110, 112, 108, 111, 109, 300))
    answers = {WHOLE_CAR: FilmAnswer.NOT_ASKED, "roof": FilmAnswer.NOT_ASKED}
    assert survey_of(car, answers) == survey_of(car)


def test_where_half_of_the_panels_stand_out_it_is_a_hint_at_most() -> None:
    survey = survey_of(spots(in_order(104, 108, 112, 116, 165, 210, 60, 300)))
    assert comparison(survey).doubt is Doubt.NONE
    hint = MANY_STAND_OUT.format("steel")
    assert hint in survey.cautions
    assert hint not in surveyed(bonnet=300).cautions
    assert offers_of(survey)
    assert all(hint in offer.advice for offer in offers_of(survey))


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
    for offer in (bonnet, door):
        assert offer.from_paint_survey
        assert len(offer.noticed) <= 500
        assert len(offer.circumstance) <= 200
        assert len(offer.advice) <= 500


@given(CARS, st.sampled_from(FilmAnswer))
def test_every_offer_fits_a_finding_and_carries_its_caveats(
    car: dict[str, float], film: FilmAnswer
) -> None:
    survey = survey_of(spots(car, ALUMINIUM), {WHOLE_CAR: film})
    results = {result.panel: result for result in survey.panels}
    for offer in offers_of(survey):
        assert len(offer.noticed) <= 500
        assert len(offer.advice) <= 500
        assert PROVES_NOTHING in offer.advice
        assert all(caveat in offer.advice for caveat in results[offer.area].caveats)


@given(CARS, st.randoms())
def test_the_order_of_spots_does_not_matter(car: dict[str, float], rng: random.Random) -> None:
    there = spots(car)
    shuffled = list(there)
    rng.shuffle(shuffled)
    assert survey_of(shuffled) == survey_of(there)


@given(CARS)
def test_every_panel_measured_is_classed_with_a_reason(car: dict[str, float]) -> None:
    survey = survey_of(spots(car))
    assert {result.panel for result in survey.panels} == set(car)
    assert survey.can_tell == (len(car) >= 5)
    for result in survey.panels:
        assert result.reasons
        if not survey.can_tell:
            assert result.film_class is FilmClass.CANNOT_TELL
        if result.film_class is FilmClass.CANNOT_TELL:
            assert set(comparison(survey).caveats) & set(result.reasons)
    assert {offer.area for offer in offers_of(survey)} <= set(car)
