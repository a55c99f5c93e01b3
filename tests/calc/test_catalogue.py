"""A workshop's operations and packages laid over ours: what is known, and what can be ordered."""

import re
from dataclasses import replace

import pytest

from jobs.work.calc.catalogue.operations import OPERATIONS, PACKAGES, Operation, Package, Wording
from jobs.work.calc.catalogue.workshop import (
    STAGES,
    STANDARD,
    Catalogue,
    catalogue_with,
    code_from,
    wait_refused,
)
from jobs.work.calc.stages.machine import Stage

ROOF_BOX = Operation("roof_box", "Clean the roof box", Stage.CLEANING, 25)
WASH = OPERATIONS["wash_body"]


def with_rows(*rows: Operation | Package) -> Catalogue:
    """Return our catalogue with some rows of a workshop over it."""
    return catalogue_with(
        [row for row in rows if isinstance(row, Operation)],
        [row for row in rows if isinstance(row, Package)],
    )


def codes_of(operations: list[Operation]) -> list[str]:
    """Return their codes."""
    return [operation.code for operation in operations]


def test_a_package_opens_into_its_operations_each_once_in_order() -> None:
    codes = codes_of(STANDARD.expand(["vacuum", "mini_valet", "wax", "vacuum"]))
    assert codes == ["vacuum", "wash_body", "dust_interior", "plastics", "glass", "wax"]


def test_a_code_in_neither_list_is_named_and_stands_for_nothing() -> None:
    assert STANDARD.unknown(["vacuum", "mini_valet", "vaccum", ""]) == ["vaccum", ""]
    assert codes_of(STANDARD.expand(["vacuum", "vaccum"])) == ["vacuum"]


def test_without_rows_of_its_own_a_workshop_has_what_we_bring() -> None:
    assert with_rows() is STANDARD
    assert STANDARD.shown_operations() == list(OPERATIONS.values())
    assert STANDARD.shown_packages() == list(PACKAGES.values())
    assert STANDARD.withdrawn([*OPERATIONS, *PACKAGES]) == []


def test_a_row_with_our_code_takes_the_place_of_ours_and_keeps_its_own() -> None:
    row = replace(WASH, name="Foam and wash", standard_minutes=20, caution="")
    catalogue = with_rows(row)
    assert list(catalogue.operations) == list(OPERATIONS)
    found = catalogue.operations["wash_body"]
    assert (found.name, found.standard_minutes) == ("Foam and wash", 20)
    assert found.wording is Wording.REWORDED
    assert catalogue.operations["vacuum"].wording is Wording.STANDARD


def test_a_caution_of_ours_stands_whatever_the_workshop_says_beside_it() -> None:
    for said in ("", "Mind the step."):
        found = with_rows(replace(WASH, caution=said)).operations["wash_body"]
        assert found.caution.startswith(WASH.caution)
        assert found.caution == f"{WASH.caution} {said}".strip()
        assert found.own_caution == said


def test_its_own_follow_ours_by_stage_and_name() -> None:
    rows = [
        Operation("zinc", "Zinc the sills", Stage.CORRECTION, 30),
        ROOF_BOX,
        Operation("ash", "Ashtrays", Stage.CLEANING, 5, caution="Hot ash burns."),
    ]
    catalogue = with_rows(*rows)
    assert list(catalogue.operations)[len(OPERATIONS) :] == ["ash", "roof_box", "zinc"]
    ash = catalogue.operations["ash"]
    assert (ash.caution, ash.own_caution, ash.wording) == (
        "Hot ash burns.",
        "Hot ash burns.",
        Wording.OWN,
    )


def test_a_hidden_operation_is_known_for_what_was_and_cannot_be_ordered_anew() -> None:
    catalogue = with_rows(replace(WASH, hidden=True))
    assert catalogue.unknown(["wash_body"]) == []
    assert catalogue.withdrawn(["wash_body", "vacuum", "nonsense"]) == ["wash_body"]
    assert "wash_body" in codes_of(catalogue.expand(["mini_valet"]))
    assert "wash_body" not in codes_of(catalogue.orderable(["mini_valet"]))
    assert "wash_body" not in codes_of(catalogue.shown_operations())
    assert catalogue.name_of("wash_body") == WASH.name


def test_a_package_with_nothing_left_in_it_cannot_be_ordered() -> None:
    both = Package("both", "Both", ("wash_body", "roof_box"))
    half = with_rows(both, ROOF_BOX, replace(WASH, hidden=True))
    assert half.withdrawn(["both"]) == []
    none = with_rows(both, replace(ROOF_BOX, hidden=True), replace(WASH, hidden=True))
    assert none.withdrawn(["both"]) == ["both"]
    assert "both" not in {package.code for package in none.shown_packages()}


def test_a_package_of_ours_can_be_refilled_and_hidden() -> None:
    refilled = with_rows(Package("mini_valet", "Quick one", ("vacuum",)))
    assert codes_of(refilled.expand(["mini_valet"])) == ["vacuum"]
    assert refilled.packages["mini_valet"].wording is Wording.REWORDED
    assert list(refilled.packages) == list(PACKAGES)
    hidden = with_rows(replace(PACKAGES["mini_valet"], hidden=True))
    assert hidden.withdrawn(["mini_valet"]) == ["mini_valet"]


def test_a_code_that_left_is_called_by_its_words() -> None:
    assert STANDARD.name_of("mini_valet") == "Mini valet"
    assert STANDARD.name_of("roof_box") == "roof box"


@pytest.mark.parametrize(
    ("waits", "minutes", "sentence"),
    [
        ("", 0, ""),
        ("cure", 60, ""),
        ("drying", 0, "Say how many minutes the car waits."),
        ("", 60, "Say what the car waits for, or leave this at 0."),
    ],
)
def test_a_wait_needs_its_minutes_and_minutes_their_wait(
    waits: str, minutes: int, sentence: str
) -> None:
    assert wait_refused(waits, minutes) == sentence


def test_work_belongs_to_any_stage_but_the_last() -> None:
    assert [*STAGES, Stage.READY] == list(Stage)


@pytest.mark.parametrize(
    ("words", "code"),
    [
        ("Clean the roof box", "clean_the_roof_box"),
        ("Vacuum", "vacuum_3"),
        ("  Café-crème seats! ", "cafe_creme_seats"),
        ("3-stage rinse", "own_3_stage_rinse"),
        ("洗車", "own"),
        ("A" * 80, "a" * 35),
    ],
)
def test_a_code_is_made_of_the_words_and_is_free(words: str, code: str) -> None:
    made = code_from(words, {"vacuum", "vacuum_2"})
    assert made == code
    assert re.fullmatch(r"[a-z][a-z0-9_]{0,39}", made)
