"""UK registration marks: their form, the period their age identifier stands for, and doubts.

A mark is evidence about the mark, not the vehicle: it may make a vehicle look older than it
is, never newer, and marks are transferred. Nothing here says when a vehicle was built.

Sources: forms, The Road Vehicles (Display of Registration Marks) Regulations 2001 (SI
2001/561) Sch. 3 Part 1 Table A; two-digit age identifiers, DVLA leaflet INF104. The age letters
after A, and which letters were never used, are common knowledge of the trade.
"""

import re
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Final

from jobs.work.calc.orders.identifiers import cleaned_groups, strange_characters

MOST_CHARACTERS: Final = 12  # in Mark.text; room for other countries' marks with their spaces

_Period = tuple[date, date]
_ADDED_IN_SEPTEMBER: Final = 50  # INF104: the age identifier is the year, plus 50 from September


@dataclass(frozen=True, slots=True)
class Mark:
    """One registration mark as read, with what is doubtful about it in plain words."""

    text: str  # canonical display form with one space, or the cleaned input if unrecognised
    key: str  # only A-Z0-9, upper case, for comparing
    form: str  # current, prefix, suffix, dateless, northern_ireland or unrecognised
    earliest: date | None  # the period the age identifier stands for, inclusive, from the mark
    latest: date | None
    remarks: tuple[str, ...]


def _periods(starts: Iterable[tuple[str, int, int]], *, end: date) -> dict[str, _Period]:
    """Periods by letter from (letter, year, month); each ends the day before the next starts."""
    letters_and_days = [(letter, date(year, month, 1)) for letter, year, month in starts]
    last_days = [day - timedelta(days=1) for _, day in letters_and_days[1:]] + [end]
    return {
        letter: (first, last)
        for (letter, first), last in zip(letters_and_days, last_days, strict=True)
    }


# Calendar years at first, though not every council took the system up before 1965; from 1967
# the letter changed in August.
_SUFFIX_PERIODS: Final = _periods(
    [
        *(("A", 1963, 1), ("B", 1964, 1), ("C", 1965, 1), ("D", 1966, 1), ("E", 1967, 1)),
        *((letter, 1967 + count, 8) for count, letter in enumerate("FGHJKLMNPRSTVWXY")),
    ],
    end=date(1983, 7, 31),
)
# August each year until S, which was cut short so that the letter could change twice a year.
_PREFIX_PERIODS: Final = _periods(
    [
        *((letter, 1983 + count, 8) for count, letter in enumerate("ABCDEFGHJKLMNPRS")),
        *(("T", 1999, 3), ("V", 1999, 9), ("W", 2000, 3), ("X", 2000, 9), ("Y", 2001, 3)),
    ],
    end=date(2001, 8, 31),
)


def _current_period(identifier: int) -> _Period | None:
    """02 to 50 start in March of that year, 51 to 99 in September; 00, September 2050, is last.

    01 was never issued: in March 2001 the prefix letter Y still ran.
    """
    if identifier == 1:
        return None
    year = 2000 + (identifier % _ADDED_IN_SEPTEMBER or _ADDED_IN_SEPTEMBER)
    if identifier > _ADDED_IN_SEPTEMBER or identifier == 0:
        return date(year, 9, 1), date(year + 1, 3, 1) - timedelta(days=1)
    return date(year, 3, 1), date(year, 8, 31)


def _unused(letters: str, never: str, where: str) -> list[str]:
    """Remark on letters that were never used there; a misread plate is the likely cause."""
    found = [letter for letter in dict.fromkeys(letters) if letter in never]
    if not found:
        return []
    return [f"{' and '.join(found)} is not used {where} of such a mark: check it on the plate."]


def _leading_zero(number: str) -> list[str]:
    if not number.startswith("0"):
        return []
    return ["Numbers in such a mark hardly ever begin with 0: look for O on the plate."]


_AGE_UNKNOWN: Final = "Q stands for a vehicle whose age or identity was not known when registered."
# The one series of Northern Ireland for these, from memory.
_NORTHERN_IRISH_Q: Final = "QNI"
_IN_THE_THREE: Final = "in the group of three letters"
_Reading = tuple[_Period | None, list[str]]


def _read_current(tag_and_age: str, random_letters: str) -> _Reading:
    tag, age = tag_and_age[:2], tag_and_age[2:]
    period = _current_period(int(age))
    remarks = _unused(tag, "IQZ", "in the first two letters")
    if period is None:
        remarks.append(f"The age identifier {age} was never issued: check it on the plate.")
    return period, remarks + _unused(random_letters, "IQ", "in the last three letters")


def _read_prefix(age_and_number: str, letters: str) -> _Reading:
    age, number = age_and_number[0], age_and_number[1:]
    if age == "Q":
        return None, [_AGE_UNKNOWN, *_leading_zero(number), *_unused(letters, "IQZ", _IN_THE_THREE)]
    return _read_dated_letter(_PREFIX_PERIODS, age=age, number=number, letters=letters)


def _read_suffix(letters: str, number_and_age: str) -> _Reading:
    age, number = number_and_age[-1], number_and_age[:-1]
    return _read_dated_letter(_SUFFIX_PERIODS, age=age, number=number, letters=letters)


def _read_dated_letter(
    periods: dict[str, _Period], *, age: str, number: str, letters: str
) -> _Reading:
    remarks = _leading_zero(number) + _unused(letters, "IQZ", _IN_THE_THREE)
    if letters == "MAN" or letters.endswith("MN"):
        return None, ["An Isle of Man mark: its single letter does not stand for a year.", *remarks]
    if age not in periods:
        remarks.insert(0, f"{age} was never used as an age letter: check it on the plate.")
    return periods.get(age), remarks


def _read_dateless(left: str, right: str) -> _Reading:
    # I and Z are ordinary here: they stand in Irish marks, north and south.
    letters, number = (left, right) if left.isalpha() else (right, left)
    return None, _leading_zero(number) + _unused(letters, "Q", "in the letters")


def _read_northern_ireland(left: str, right: str) -> _Reading:
    letters, number = (left, right) if left.isalpha() else (right, left)
    remarks = _leading_zero(number)
    if letters == _NORTHERN_IRISH_Q:
        return None, [_AGE_UNKNOWN, *remarks]
    remarks += _unused(letters, "Q", "in the letters")
    if not set(letters[1:]) & {"I", "Z"}:
        remarks.append(
            "Three letters with four figures is a form of Northern Ireland only, where the last "
            "two letters have an I or a Z: check it on the plate."
        )
    return None, remarks


# Table A, row by row. No mark fits two rows.
_FORMS: Final[tuple[tuple[str, re.Pattern[str], Callable[[str, str], _Reading]], ...]] = tuple(
    (form, re.compile(pattern), read)
    for form, pattern, read in (
        ("current", "([A-Z]{2}[0-9]{2})([A-Z]{3})", _read_current),  # row 1
        ("prefix", "([A-Z][0-9]{1,3})([A-Z]{3})", _read_prefix),  # row 2
        ("suffix", "([A-Z]{3})([0-9]{1,3}[A-Z])", _read_suffix),  # row 3
        ("dateless", "([0-9]{4})([A-Z]{1,2})", _read_dateless),  # row 4
        ("dateless", "([0-9]{1,3})([A-Z]{1,3})", _read_dateless),  # row 5
        ("dateless", "([A-Z]{1,3})([0-9]{1,3})", _read_dateless),  # row 6
        ("dateless", "([A-Z]{1,2})([0-9]{4})", _read_dateless),  # row 7
        ("northern_ireland", "([A-Z]{3})([0-9]{4})", _read_northern_ireland),  # row 8
        ("northern_ireland", "([0-9]{4})([A-Z]{3})", _read_northern_ireland),  # row 9
    )
)
_UNRECOGNISED: Final = (
    "Not a form of mark used on ordinary vehicles in the United Kingdom: check it on the plate, "
    "above all O against 0 and I against 1; a foreign, diplomatic or trade plate is kept as typed."
)


def read_mark(text: str, *, region: str = "GB") -> Mark:
    """Read a registration mark as typed, with or without spaces and hyphens.

    `region` is the ISO 3166 code of the country whose marks are expected; the forms are known
    for GB only (meaning the United Kingdom), and anywhere else a mark is kept without remark.

    Raises ValueError, saying what to do next, if nothing is left after cleaning, if there are
    characters other than A-Z and 0-9, or if more than MOST_CHARACTERS would have to be kept.
    An odd mark is never an error: what is doubtful about it is in `remarks`.
    """
    groups = cleaned_groups(text)
    key, cleaned = "".join(groups), " ".join(groups)
    expects_uk_forms = region.upper() == "GB"
    if expects_uk_forms:
        for form, pattern, read in _FORMS:
            if match := pattern.fullmatch(key):
                period, remarks = read(match[1], match[2])
                earliest, latest = period or (None, None)
                shown = f"{match[1]} {match[2]}"
                return Mark(shown, key, form, earliest, latest, tuple(remarks))
    _refuse_unusable(cleaned)
    remarks = [_UNRECOGNISED] if expects_uk_forms else []
    return Mark(cleaned, key, "unrecognised", None, None, tuple(remarks))


def _refuse_unusable(cleaned: str) -> None:
    problems = []
    if not cleaned:
        problems.append("is empty")
    if len(cleaned) > MOST_CHARACTERS:
        problems.append(f"is longer than {MOST_CHARACTERS} characters")
    if strange := strange_characters(cleaned.replace(" ", "")):
        problems.append(f"has characters other than A to Z and 0 to 9 ({strange})")
    if problems:
        raise ValueError(
            f"The registration mark {' and '.join(problems)}: "
            "enter the letters and figures as they stand on the number plate."
        )


def remark_first_registered(mark: Mark, first_registered: date) -> str | None:
    """Say, from the mark, when a stated first registration is earlier than the mark allows.

    The other way round means nothing: a vehicle may carry a mark older than itself.
    """
    if mark.earliest is None or first_registered >= mark.earliest:
        return None
    return (
        f"From the mark, first registration would not be before {_plain(mark.earliest)}, yet "
        f"{_plain(first_registered)} is stated. A mark may make a vehicle look older, never "
        "newer: check mark and date against the registration document. Marks are transferred, "
        "so the mark alone says nothing about the vehicle's own age."
    )


def remark_to_come(mark: Mark, today: date) -> str | None:
    """Say when the period that the age identifier stands for has not begun yet."""
    if mark.earliest is None or mark.earliest <= today:
        return None
    return (
        f"The age identifier of {mark.text} stands for {mark.earliest:%B %Y} on, which is still to "
        "come: check it on the plate."
    )


def _plain(day: date) -> str:
    return f"{day.day} {day:%B %Y}"
