"""Refinishing small parts: steps in order with their cautions, and the timers of the coats.

Coats and times are common practice, no source; only their order and bounds are checked.
"""

from datetime import UTC, datetime, timedelta

import pytest

from jobs.work.calc.catalogue.operations import OPERATIONS
from jobs.work.calc.coats import (
    GUIDE,
    PAINTED,
    PARTS,
    CoatKind,
    Part,
    Timer,
    default_flash_off_minutes,
    dry_to_handle_at,
    is_flashing_off,
    next_coat_from,
)
from jobs.work.calc.curing.cure import Reading

NINE = datetime(2027, 3, 1, 9, 0, tzinfo=UTC)
EVERY_PART = pytest.mark.parametrize("part", PARTS.values(), ids=PARTS.keys())


def at(minutes: float) -> datetime:
    return NINE + timedelta(minutes=minutes)


def timer(applied: float, minutes: float) -> Timer:
    return Timer(at(applied), at(applied + minutes))


def test_sills_steel_wheels_and_chips_are_the_kinds_of_part() -> None:
    assert set(PARTS) == {"touch_in", "sills_refinish", "steel_wheels_refinish"}
    assert set(PARTS) | {"primer", "colour_coats", "lacquer"} == PAINTED
    assert set(OPERATIONS) > PAINTED


@EVERY_PART
def test_a_part_is_keyed_wiped_primed_coloured_and_lacquered_in_this_order(part: Part) -> None:
    order = ["keying", "panel_wipe", "masking", "primer", "colour_coats", "lacquer"]
    steps = [step.operation for step in part.steps]
    assert steps == [operation for operation in order if operation in steps]
    assert set(order) - set(steps) <= {"masking"}
    coats = [step.coats.kind for step in part.steps if step.coats]
    assert coats == [CoatKind.PRIMER, CoatKind.COLOUR, CoatKind.LACQUER]


@EVERY_PART
def test_every_step_says_what_to_do_and_carries_a_caution(part: Part) -> None:
    for step in part.steps:
        assert step.work.endswith(".")
        assert OPERATIONS[step.operation].caution


@EVERY_PART
def test_colour_goes_on_in_several_coats_with_minutes_between(part: Part) -> None:
    for step in part.steps:
        if step.coats:
            assert 0 <= step.coats.fewest <= step.coats.most <= 4
            assert 5 <= step.coats.flash_off_minutes <= 60
            if step.coats.kind is CoatKind.COLOUR:
                assert step.coats.fewest >= 2


@EVERY_PART
def test_a_part_is_handled_before_the_car_may_go_and_after_its_coats_flashed_off(
    part: Part,
) -> None:
    longest = max(step.coats.flash_off_minutes for step in part.steps if step.coats)
    assert longest <= part.handle_after_minutes < OPERATIONS[part.operation].wait_minutes


@pytest.mark.parametrize(
    ("operation", "words"),
    [
        ("sills_refinish", ("drain holes", "jack")),
        (
            "steel_wheels_refinish",
            ("tyre", "brake discs", "hub", "bolts", "torque", "jack"),
        ),
        ("keying", ("dust mask", "eye protection")),
        ("masking", ("drain holes", "lamps")),
        ("panel_wipe", ("ventilate", "ignition", "gloves", "eye protection")),
        *(
            (
                operation,
                (
                    *("ventilate", "ignition", "breathing protection", "gloves", "eye protection"),
                    *("data sheet", "isocyanate", "specialist", "extraction"),
                    "breathing apparatus",
                ),
            )
            for operation in sorted(PAINTED)
        ),
    ],
)
def test_the_cautions_name_what_hurts(operation: str, words: tuple[str, ...]) -> None:
    caution = OPERATIONS[operation].caution.lower()
    assert [word for word in words if word not in caution] == []


def test_the_guide_says_that_its_figures_have_no_source_and_what_outranks_them() -> None:
    assert "common practice, no source" in GUIDE
    assert "data sheet" in GUIDE
    assert "local rules" in GUIDE


@EVERY_PART
def test_a_coat_flashes_off_as_long_as_its_step_says(part: Part) -> None:
    for step in part.steps:
        if step.coats:
            minutes = default_flash_off_minutes(part.operation, step.coats.kind)
            assert minutes == step.coats.flash_off_minutes


def test_a_step_on_its_own_takes_the_longest_flash_off_there_is() -> None:
    for kind in CoatKind:
        each = [default_flash_off_minutes(part, kind) for part in PARTS]
        assert default_flash_off_minutes("colour_coats", kind) == max(each)
    assert default_flash_off_minutes("primer", CoatKind.PRIMER) == 20


def test_a_bare_part_takes_a_coat_at_once() -> None:
    assert next_coat_from([]) is None
    assert not is_flashing_off([], at=NINE)
    assert dry_to_handle_at("touch_in", [], []) is None


def test_the_next_coat_waits_to_the_second() -> None:
    coats = [timer(0, 10)]
    assert next_coat_from(coats) == at(10)
    assert is_flashing_off(coats, at=at(10) - timedelta(seconds=1))
    assert not is_flashing_off(coats, at=at(10))


def test_a_quick_coat_over_a_wet_one_waits_for_the_wet_one() -> None:
    coats = [timer(0, 30), timer(5, 5)]
    assert next_coat_from(coats) == at(30)
    assert is_flashing_off(coats, at=at(20))


def test_a_part_is_dry_to_handle_some_time_after_its_last_coat() -> None:
    coats = [timer(0, 10), timer(12, 10)]
    assert dry_to_handle_at("sills_refinish", coats, []) == at(132)
    assert dry_to_handle_at("touch_in", coats, []) == at(42)
    assert dry_to_handle_at("colour_coats", coats, []) == at(132)


def test_dry_to_handle_follows_the_temperature_as_flash_off_does() -> None:
    """120 minutes at 15 °C are 240 at 5 °C and 60 at 25 °C; below 5 °C nobody can say."""
    coats = [timer(0, 10)]

    def steady(celsius: float) -> list[Reading]:
        return [Reading(at(minute), celsius) for minute in range(-60, 301, 60)]

    assert dry_to_handle_at("sills_refinish", coats, steady(5)) == at(240)
    assert dry_to_handle_at("sills_refinish", coats, steady(25)) == at(60)
    assert dry_to_handle_at("sills_refinish", coats, steady(45)) == at(60)
    assert dry_to_handle_at("sills_refinish", coats, steady(2)) is None


def test_a_coat_that_is_too_cold_to_flash_off_takes_no_other() -> None:
    coats = [timer(0, 10), Timer(at(12), None)]
    assert next_coat_from(coats) is None
    assert is_flashing_off(coats, at=at(100_000))
    assert dry_to_handle_at("touch_in", coats, []) is None


def test_a_part_is_never_dry_to_handle_while_it_flashes_off() -> None:
    assert dry_to_handle_at("touch_in", [timer(0, 300)], []) == at(300)
    assert dry_to_handle_at("touch_in", [timer(0, 300), timer(1, 5)], []) == at(300)
