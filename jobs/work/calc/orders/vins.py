"""Vehicle identification numbers: 17 characters, and the check digit some of them carry.

Sources: form, ISO 3779; check digit, 49 CFR 565.15(c). Neither the make nor the model year is
read: both need lists or a clock, and the dealer states them.
"""

from dataclasses import dataclass
from typing import Final

from jobs.work.calc.orders.identifiers import cleaned_groups, strange_characters

LENGTH: Final = 17
_CHECK_PLACE: Final = 8  # the ninth character
# 49 CFR 565.15(c)(1): figures count as themselves, letters as below; I, O and Q are not used.
_VALUES: Final = {str(figure): figure for figure in range(10)} | dict(
    zip("ABCDEFGHJKLMNPRSTUVWXYZ", (int(v) for v in "12345678123457923456789"), strict=True)
)
# 49 CFR 565.15(c)(2): the weight of each place; the check digit itself has none.
_WEIGHTS: Final = (8, 7, 6, 5, 4, 3, 2, 10, 0, 9, 8, 7, 6, 5, 4, 3, 2)
_REMAINDERS: Final = "0123456789X"
_NEVER_USED: Final = "IOQ"
_NORTH_AMERICA: Final = frozenset("12345")  # ISO 3780, first character


@dataclass(frozen=True, slots=True)
class Vin:
    """One VIN as read, with the check digit its other characters call for."""

    text: str
    check_digit: str  # expected by 49 CFR 565.15(c)
    check_digit_ok: bool
    remarks: tuple[str, ...]


def read_vin(text: str) -> Vin:
    """Read a VIN as typed, with or without spaces and hyphens.

    A check digit that does not fit is a remark, never an error, and only where the first
    character is 1 to 5, North America, where the digit is compulsory. Elsewhere ISO 3779 lets
    the ninth character be anything, so most vehicles on a European forecourt "fail", and a
    remark that is nearly always there is one nobody reads; `check_digit_ok` still tells those
    who want it. Even in North America the remark is a request to look again, because vehicles
    are made there for other markets too. First character 7 is left out: part of it is the
    United States' now, part New Zealand's.

    Raises ValueError naming every problem: a wrong length, the letters I, O and Q, and
    characters other than A-Z and 0-9.
    """
    vin17 = "".join(cleaned_groups(text))
    expected = check_digit(vin17)
    stated = vin17[_CHECK_PLACE]
    remarks = []
    if stated != expected and vin17[0] in _NORTH_AMERICA:
        remarks.append(
            f"The ninth character is {stated}, where the others call for {expected}. VINs for "
            "North America carry this check: read the VIN once more from the vehicle. If it is "
            "the same, the vehicle may have been made for another market."
        )
    return Vin(vin17, expected, stated == expected, tuple(remarks))


def check_digit(vin17: str) -> str:
    """Work out the ninth character by 49 CFR 565.15(c): 0 to 9, or X for a remainder of 10.

    `vin17` is a whole VIN in upper case without spaces; its own ninth character does not count.
    Raises ValueError like `read_vin`.
    """
    _refuse_unusable(vin17)
    total = sum(_VALUES[char] * weight for char, weight in zip(vin17, _WEIGHTS, strict=True))
    return _REMAINDERS[total % 11]


def _refuse_unusable(vin17: str) -> None:
    problems = []
    if len(vin17) != LENGTH:
        problems.append(f"has {len(vin17)} characters instead of {LENGTH}")
    if never := [letter for letter in _NEVER_USED if letter in vin17]:
        problems.append(f"uses {' and '.join(never)}, which no VIN does (look for 1 or 0)")
    if strange := strange_characters(vin17):
        problems.append(f"has characters other than A to Z and 0 to 9 ({strange})")
    if problems:
        raise ValueError(
            f"The VIN {', and '.join(problems)}: copy it again from the vehicle or its "
            "registration document, or leave it empty if the vehicle is old enough to have a "
            "shorter chassis number."
        )
