"""The catalogue of operations: whole, consistent, and with a caution wherever work can hurt."""

import re
from collections import Counter

import pytest

from jobs.work.calc.car.fuels import Fuel
from jobs.work.calc.catalogue.operations import OPERATIONS, PACKAGES, Package
from jobs.work.calc.stages.machine import Stage

PAINT = [
    "touch_in",
    "sills_refinish",
    "steel_wheels_refinish",
    "primer",
    "colour_coats",
    "lacquer",
]
# What each kind of work must remind people of: words of the caution, and the operations that
# are such work. Common cautions of the trade; no source beyond them is claimed.
CAUTIONS = {
    "engines": (("off and cool", "air intakes"), ["engine_bay"]),
    "seats": (
        ("airbags", "pretensioners", "maker's procedure", "in pairs"),
        ["wet_extraction", "leather"],
    ),
    "water near electrics": (("electrics",), ["wet_extraction", "engine_bay"]),
    "chemicals": (
        ("data sheet", "gloves", "eye protection"),
        [
            "decontaminate",
            "engine_bay",
            "shuts",
            "wheels_arches",
            "plastics",
            "wet_extraction",
            "leather",
            "headlining",
            "glass",
            "odour",
            "sticker_removal",
            "panel_wipe",
            *PAINT,
            "wax",
            "coating",
            "trim_dressing",
            "tyre_dressing",
        ],
    ),
    "acid": (("hydrofluoric", "specialist"), ["wheels_arches"]),
    "two-pack paint": (
        ("isocyanate", "specialist", "extraction", "breathing apparatus"),
        PAINT,
    ),
    "solvents and aerosols": (
        ("ventilate", "ignition"),
        ["sticker_removal", "panel_wipe", *PAINT, "coating"],
    ),
    "compressed air": (("skin", "eyes first"), ["dust_interior"]),
    "machines": (
        ("cable", "dust", "vibration"),
        ["polish_one_stage", "polish_two_stage", "polish_spot", "headlamps"],
    ),
    "wash water": (
        ("permitted drain", "surface water"),
        ["wash_body", "underside_rinse", "wheels_arches", "engine_bay"],
    ),
}


def test_there_are_about_forty_operations_each_found_by_its_code() -> None:
    assert 36 <= len(OPERATIONS) <= 44
    assert all(code == operation.code for code, operation in OPERATIONS.items())
    assert all(re.fullmatch(r"[a-z][a-z_]{2,38}", code) for code in OPERATIONS)


def test_no_two_operations_or_packages_share_a_code_or_a_name() -> None:
    codes = [*OPERATIONS, *PACKAGES]
    names = Counter(operation.name for operation in OPERATIONS.values())
    names.update(package.name for package in PACKAGES.values())
    assert len(codes) == len(set(codes))
    assert max(names.values()) == 1


def test_every_operation_is_work_of_a_working_stage_and_takes_time() -> None:
    working = {Stage.INTAKE, Stage.CLEANING, Stage.CORRECTION}
    assert {operation.stage for operation in OPERATIONS.values()} == working
    assert all(5 <= operation.standard_minutes <= 480 for operation in OPERATIONS.values())


def test_what_waits_says_how_long_and_what_does_not_says_nothing() -> None:
    for operation in OPERATIONS.values():
        assert operation.waits in {"", "cure", "drying"}
        assert bool(operation.waits) is (operation.wait_minutes > 0)


def test_wet_work_dries_and_what_hardens_cures() -> None:
    waits = {code: operation.waits for code, operation in OPERATIONS.items() if operation.waits}
    assert waits.pop("wet_extraction") == "drying"
    assert set(waits) == {
        *PAINT,
        "wax",
        "coating",
        "trim_dressing",
        "tyre_dressing",
    }
    assert set(waits.values()) == {"cure"}


@pytest.mark.parametrize("hazard", CAUTIONS)
def test_a_caution_stands_wherever_work_can_hurt(hazard: str) -> None:
    words, codes = CAUTIONS[hazard]
    missing = {
        code: [word for word in words if word not in OPERATIONS[code].caution.lower()]
        for code in codes
    }
    assert {code: gaps for code, gaps in missing.items() if gaps} == {}


NEAR_HIGH_VOLTAGE = {"engine_bay", "underside_rinse", "load_area", "sills_refinish"}


@pytest.mark.parametrize("fuel", Fuel)
def test_high_voltage_words_stand_where_water_or_tools_go_near_it_and_nowhere_else(
    fuel: Fuel,
) -> None:
    warned = {
        code
        for code, operation in OPERATIONS.items()
        if "high voltage" in operation.caution_on(fuel).lower()
    }
    assert warned == (NEAR_HIGH_VOLTAGE if fuel in {Fuel.HYBRID, Fuel.ELECTRIC} else set())


def test_where_the_fuel_is_not_known_the_words_say_if() -> None:
    for code, operation in OPERATIONS.items():
        words = operation.caution_on("")
        assert ("If it is a hybrid or an electric vehicle" in words) is (code in NEAR_HIGH_VOLTAGE)
        assert "high voltage" not in operation.caution.lower()


def test_the_words_that_hold_for_every_vehicle_stay_beside_them() -> None:
    bay = OPERATIONS["engine_bay"]
    assert bay.caution_on(Fuel.PETROL) == bay.caution
    assert bay.caution_on(Fuel.ELECTRIC).endswith(bay.caution)


@pytest.mark.parametrize("package", PACKAGES.values(), ids=PACKAGES.keys())
def test_a_package_holds_known_operations_once_in_the_order_of_the_stages(
    package: Package,
) -> None:
    assert len(package.operations) == len(set(package.operations)) > 1
    stages = [list(Stage).index(OPERATIONS[code].stage) for code in package.operations]
    assert stages == sorted(stages)
