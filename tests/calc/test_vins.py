"""VINs against 49 CFR 565.15(c), ISO 3779, an independent library and plain properties."""

import re

import pytest
import vininfo
from hypothesis import assume, given
from hypothesis import strategies as st

from jobs.work.calc.orders.vins import check_digit, read_vin

# Worked by the rule of 49 CFR 565.15(c): the first two in pages quoting it, all four reproduced
# with vininfo.
CHECKED = [
    ("1G4AH59H45G118341", "4"),
    ("1J9RP1A36A1644345", "6"),
    ("1M8GDM9AXKP042788", "X"),
    ("11111111111111111", "1"),
]
# An ordinary European form without a check digit, as ISO 3779 allows (reproduced with vininfo).
EUROPEAN = "WVWZZZ1KZ6W000001"

VIN_CHARACTERS = "ABCDEFGHJKLMNPRSTUVWXYZ0123456789"
vins = st.text(alphabet=VIN_CHARACTERS, min_size=17, max_size=17)


def with_ninth(vin: str, character: str) -> str:
    return f"{vin[:8]}{character}{vin[9:]}"


@pytest.mark.parametrize(("vin", "digit"), CHECKED)
def test_published_vins_carry_the_check_digit_we_work_out(vin: str, digit: str) -> None:
    read = read_vin(vin)
    assert check_digit(vin) == digit
    assert (read.text, read.check_digit, read.check_digit_ok, read.remarks) == (
        vin,
        digit,
        True,
        (),
    )


@pytest.mark.parametrize("typed", ["1m8gdm9axkp042788", " 1M8-GDM9AX KP\u2013042788\n"])
def test_it_reads_a_vin_however_it_was_typed(typed: str) -> None:
    assert read_vin(typed) == read_vin("1M8GDM9AXKP042788")


@pytest.mark.parametrize("first", "12345")
def test_a_north_american_vin_that_fails_is_read_with_a_gentle_remark(first: str) -> None:
    vin = f"{first}M8GDM9A_KP042788"
    right = check_digit(vin.replace("_", "0"))
    wrong = "7" if right != "7" else "8"
    assert read_vin(vin.replace("_", right)).remarks == ()
    read = read_vin(vin.replace("_", wrong))
    assert not read.check_digit_ok
    assert read.check_digit == right
    (remark,) = read.remarks
    assert remark.startswith(f"The ninth character is {wrong}, where the others call for {right}.")
    assert "another market" in remark


def test_a_european_vin_without_a_check_digit_is_read_without_remark() -> None:
    read = read_vin(EUROPEAN)
    assert not read.check_digit_ok
    assert read.remarks == ()


@pytest.mark.parametrize("first", "67890ABCDEFGHJKLMNPRSTUVWXYZ")
def test_no_remark_is_made_outside_north_america(first: str) -> None:
    vin = f"{first}{EUROPEAN[1:]}"
    read = read_vin(vin)
    assert not read.check_digit_ok  # the ninth character is Z, which is never a check digit
    assert read.remarks == ()


@pytest.mark.parametrize(
    ("text", "length"), [("", 0), ("  - ", 0), (EUROPEAN[:16], 16), (EUROPEAN + "1", 18)]
)
def test_it_refuses_another_length(text: str, length: int) -> None:
    with pytest.raises(ValueError, match=f"has {length} characters instead of 17: copy it again"):
        read_vin(text)


@pytest.mark.parametrize("letter", "IOQioq")
def test_it_refuses_the_letters_no_vin_uses(letter: str) -> None:
    with pytest.raises(ValueError, match=f"uses {letter.upper()}, which no VIN does"):
        read_vin(f"WVWZZZ1KZ6W00000{letter}")


@pytest.mark.parametrize(
    ("text", "shown"),
    [
        ("WVWZZZ1KZ6W00000.", "."),
        ("WVWZZZ1KZ6W0000\u00df", "\u00df"),  # upper case of this letter is SS
        ("WVWZZZ1KZ6W00000\u0661", "\u0661"),  # an Arabic figure is a digit to Python
    ],
)
def test_it_refuses_and_names_other_characters(text: str, shown: str) -> None:
    with pytest.raises(ValueError, match=re.escape(f"A to Z and 0 to 9 ({shown})")):
        read_vin(text)


def test_it_names_every_problem_at_once() -> None:
    with pytest.raises(ValueError, match=r"instead of 17, and uses I and O.*and has.*\(!\): copy"):
        read_vin("WVWOI!")


def test_the_check_digit_of_a_bad_vin_is_refused_too() -> None:
    with pytest.raises(ValueError, match="has 16 characters instead of 17"):
        check_digit(EUROPEAN[:16])


@given(vins)
def test_vininfo_agrees_about_every_vin(vin: str) -> None:
    reference = vininfo.Vin(vin)
    # vininfo answers False without a sum for the few makers it knows never to use the rule.
    assume(getattr(reference.assembler, "uses_sae_checkdigit", True))
    # Its check_year would refuse model-year letters, and `years` reads the clock: neither is used.
    assert reference.verify_checksum(check_year=False) == read_vin(vin).check_digit_ok
    completed = vininfo.Vin(with_ninth(vin, check_digit(vin)))
    assert completed.verify_checksum(check_year=False)


@given(vin=vins, ninth=st.sampled_from(VIN_CHARACTERS))
def test_the_ninth_character_does_not_count_towards_itself(vin: str, ninth: str) -> None:
    assert check_digit(with_ninth(vin, ninth)) == check_digit(vin)


@given(vin=vins, place=st.integers(0, 16), figure=st.integers(0, 9), off_by=st.integers(1, 9))
def test_one_misread_figure_in_a_good_vin_is_always_noticed(
    vin: str, place: int, figure: int, off_by: int
) -> None:
    vin = f"{vin[:place]}{figure}{vin[place + 1 :]}"
    good = with_ninth(vin, check_digit(vin))
    right = int(good[place]) if good[place].isdigit() else figure  # the check digit may be an X
    misread = (right + off_by) % 10
    assert not read_vin(f"{good[:place]}{misread}{good[place + 1 :]}").check_digit_ok


@given(st.one_of(vins, st.text(), st.text(alphabet=f"{VIN_CHARACTERS}IOQ -", max_size=20)))
def test_any_text_is_read_or_refused_with_a_value_error(text: str) -> None:
    try:
        read = read_vin(text)
    except ValueError as error:
        assert "copy it again" in str(error)  # noqa: PT017
        return
    assert re.fullmatch(r"[A-HJ-NPR-Z0-9]{17}", read.text)
    assert read.check_digit_ok == (read.text[8] == read.check_digit)
    assert read_vin(read.text) == read
