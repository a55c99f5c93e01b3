"""Dew point, vapour pressure deficit, evaporation, frost and cautions, against outside sources."""

import itertools

import psychrolib
import pytest
from hypothesis import given
from hypothesis import strategies as st

from jobs.work.calc.air.climate import (
    Frost,
    coating_cautions,
    dew_point,
    evaporation,
    frost_risk,
    saturation_pressure,
    surface_margin,
    told_apart,
    vapour_pressure_deficit,
)

psychrolib.SetUnitSystem(psychrolib.SI)

CELSIUS = st.floats(-30, 50)
PERCENT = st.floats(1, 100)
GRID = list(itertools.product(range(41), range(20, 101)))


@pytest.mark.parametrize(
    ("celsius", "percent", "psychrolibs", "metpys"),
    [
        (5, 80, 1.841, 1.831),
        (10, 60, 2.600, 2.588),
        (10, 85, 7.598, 7.590),
        (15, 50, 4.672, 4.657),
        (20, 50, 9.272, 9.256),
        (20, 75, 15.438, 15.423),
        (25, 60, 16.701, 16.680),
        (30, 70, 23.928, 23.894),
    ],
)
def test_the_dew_point_is_that_of_two_libraries(
    celsius: float, percent: float, psychrolibs: float, metpys: float
) -> None:
    """From psychrolib 2.5.0 (ASHRAE's equations) and metpy 1.7.1 (Bolton's), both run."""
    assert dew_point(celsius, percent) == pytest.approx(psychrolibs, abs=0.05)
    assert dew_point(celsius, percent) == pytest.approx(metpys, abs=0.05)


def test_the_dew_point_is_psychrolibs_on_the_whole_grid() -> None:
    """Against psychrolib 2.5: 0 to 40 °C, 20 to 100 %, where the dew point is 0 °C or more."""
    compared = 0
    for celsius, percent in GRID:
        theirs = psychrolib.GetTDewPointFromRelHum(celsius, percent / 100)
        if theirs >= 0:
            assert dew_point(celsius, percent) == pytest.approx(theirs, abs=0.05)
            compared += 1
    assert compared > 2000


@given(CELSIUS)
def test_saturated_air_is_at_its_dew_point(celsius: float) -> None:
    assert dew_point(celsius, 100) == pytest.approx(celsius, abs=1e-9)


@given(CELSIUS, PERCENT)
def test_vapour_at_the_dew_point_is_the_vapour_in_the_air(celsius: float, percent: float) -> None:
    vapour = saturation_pressure(dew_point(celsius, percent))
    assert vapour == pytest.approx(saturation_pressure(celsius) * percent / 100, rel=1e-9)


@pytest.mark.parametrize(("celsius", "percent", "pascals"), [(20, 50, 1169.4), (10, 80, 245.6)])
def test_the_vapour_pressure_deficit_is_psychrolibs_within_a_third_of_a_per_cent(
    celsius: float, percent: float, pascals: float
) -> None:
    """Run with psychrolib, which gives the decimal; Magnus' formula gives 1166.3 and 245.2 Pa."""
    saturated = psychrolib.GetSatVapPres(celsius)
    theirs = saturated - psychrolib.GetVapPresFromRelHum(celsius, percent / 100)
    assert theirs == pytest.approx(pascals, abs=0.05)
    assert vapour_pressure_deficit(celsius, percent) == pytest.approx(pascals, rel=1 / 300)


def test_saturation_pressure_is_within_half_a_per_cent_of_psychrolibs_over_water() -> None:
    """Against psychrolib 2.5 from 1 to 40 °C; below zero it counts over ice."""
    for celsius in range(1, 41):
        theirs = psychrolib.GetSatVapPres(celsius)
        assert saturation_pressure(celsius) == pytest.approx(theirs, rel=0.005)


def test_the_wmos_formula_by_hand() -> None:
    """WMO Guide No. 8: 6.112 hPa at 0 °C; at 20 °C 6.112 exp(352.4 / 263.12) = 23.326 hPa."""
    assert saturation_pressure(0) == 611.2
    assert saturation_pressure(20) == pytest.approx(2332.6, abs=0.05)


def test_the_ratio_of_evaporations_is_carriers() -> None:
    """ASHRAE Transactions 1998, paper 4146: 20 °C/50 % against 10 °C/80 %, 166.1/34.6 g/m²h."""
    warm, cool = evaporation(20, 50, 0.1), evaporation(10, 80, 0.1)
    assert warm / cool == pytest.approx(166.1 / 34.6, rel=0.002)
    assert [warm, cool] == pytest.approx([166.1, 34.6], rel=0.004)


def test_moving_air_dries_as_carriers_formula_says() -> None:
    faster = (0.089 + 0.0782 * 3) / (0.089 + 0.0782 * 0.1)
    assert evaporation(20, 50, 3) / evaporation(20, 50) == pytest.approx(faster, rel=1e-12)


@given(CELSIUS, st.floats(0, 100), st.floats(0, 100))
def test_drier_air_takes_up_more(celsius: float, first: float, second: float) -> None:
    damp, dry = max(first, second), min(first, second)
    assert evaporation(celsius, damp) <= evaporation(celsius, dry)
    assert evaporation(celsius, 100) == 0


@given(CELSIUS, CELSIUS, st.floats(0, 100))
def test_warmer_air_of_the_same_humidity_takes_up_more(
    first: float, second: float, percent: float
) -> None:
    """The bounds of a drying estimate rest on this."""
    assert evaporation(min(first, second), percent) <= evaporation(max(first, second), percent)


@pytest.mark.parametrize("percent", [-0.1, 100.1, 1000, float("nan")])
def test_humidity_beyond_nought_and_a_hundred_is_refused(percent: float) -> None:
    with pytest.raises(ValueError, match="0 to 100 %"):
        dew_point(20, percent)
    with pytest.raises(ValueError, match="0 to 100 %"):
        evaporation(20, percent)


def test_air_without_any_vapour_has_the_dew_point_of_one_per_cent() -> None:
    assert dew_point(20, 0) == dew_point(20, 1) < -35


def test_a_surface_is_as_warm_as_the_air_unless_it_was_measured() -> None:
    assert surface_margin(20, 50) == pytest.approx(20 - 9.27, abs=0.05)
    assert surface_margin(20, 50, 8) == pytest.approx(8 - 9.27, abs=0.05)


@pytest.mark.parametrize(
    ("celsius", "percent", "risk"),
    [
        (-3, 60, Frost.LIKELY),
        (0, None, Frost.LIKELY),
        (1.5, 95, Frost.LIKELY),
        (1.5, 40, Frost.POSSIBLE),
        (1.5, None, Frost.POSSIBLE),
        (3, 95, Frost.POSSIBLE),
        (4, 40, Frost.POSSIBLE),
        (4.1, 95, Frost.NONE),
        (15, None, Frost.NONE),
    ],
)
def test_frost_by_temperature_and_moisture(
    celsius: float, percent: float | None, risk: Frost
) -> None:
    """Common practice, no source: a car under a clear sky gets about 4 K colder than the air."""
    assert frost_risk(celsius, percent) is risk


@given(CELSIUS, CELSIUS, st.none() | PERCENT)
def test_colder_air_never_has_less_risk_of_frost(
    first: float, second: float, percent: float | None
) -> None:
    order = list(Frost)
    colder, warmer = (
        frost_risk(min(first, second), percent),
        frost_risk(max(first, second), percent),
    )
    assert order.index(colder) >= order.index(warmer)


def cautions(
    air: float, percent: float | None, surface: float | None, least: float = 10
) -> dict[str, str]:
    found = coating_cautions(
        air_celsius=air,
        humidity_percent=percent,
        surface_celsius=surface,
        apply_from_celsius=least,
    )
    assert len({caution.code for caution in found}) == len(found)
    return {caution.code: caution.text for caution in found}


def test_a_surface_near_the_dew_point_is_no_surface_to_coat() -> None:
    """3 °C above the dew point, attributed to ISO 8502-4 (for steel). At 20/50 it is 9.27 °C."""
    assert cautions(20, 50, 12.4) == {}
    assert list(cautions(20, 50, 12.2)) == ["near_dew_point"]
    assert (
        "surface has 12.2 °C and the dew point is 9.3 °C"
        in (cautions(20, 50, 12.2)["near_dew_point"])
    )


def test_without_a_measured_surface_the_air_is_taken_and_that_is_said() -> None:
    assert cautions(20, 80, None) == {}
    assert "nobody measured the surface" in cautions(20, 90, None)["near_dew_point"]


def test_a_surface_colder_than_the_product_wants_is_told() -> None:
    assert cautions(15, 50, 10) == {}
    assert list(cautions(15, 50, 9.9)) == ["too_cold"]
    assert "wants 10.0 °C" in cautions(15, 50, 9.9)["too_cold"]
    assert list(cautions(8, None, None)) == ["too_cold"]


def test_both_cautions_stand_beside_each_other() -> None:
    assert set(cautions(9, 95, 5)) == {"near_dew_point", "too_cold"}


def test_without_humidity_there_is_no_word_of_the_dew_point() -> None:
    assert cautions(20, None, 1, least=0) == {}


@pytest.mark.parametrize(
    ("surface", "wants", "here", "wanted"),
    [(4.96, 5.0, "4.96", "5.00"), (4.9, 5.0, "4.9", "5.0"), (4.9996, 5.0, "4.9996", "5.0000")],
)
def test_what_is_too_cold_never_reads_as_warm_as_is_wanted(
    surface: float, wants: float, here: str, wanted: str
) -> None:
    """It has 5.0 °C; the product wants 5.0 °C."""
    (caution,) = coating_cautions(
        air_celsius=surface,
        humidity_percent=None,
        surface_celsius=surface,
        apply_from_celsius=wants,
    )
    assert f"has {here} °C; the product wants {wanted} °C" in caution.text


@given(st.floats(3, 30), st.floats(1e-6, 0.2))
def test_what_is_too_near_the_dew_point_reads_so(dew: float, less: float) -> None:
    here, point = told_apart(dew + 3 - less, dew, 3)
    assert round(float(here) - float(point), 9) < 3
