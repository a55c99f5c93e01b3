"""UK registration marks against the regulations, the DVLA's leaflet and plain properties.

Values marked "page" were seen in a page quoting the source; "from memory" says what it says.
The forms and periods use marks of our own, or the regulations' own examples.
"""

import dataclasses
import re
from datetime import date, timedelta
from itertools import pairwise

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from jobs.work.calc.orders.marks import (
    MOST_CHARACTERS,
    Mark,
    read_mark,
    remark_first_registered,
    remark_to_come,
)

# The examples of The Road Vehicles (Display of Registration Marks) Regulations 2001, Sch. 3
# Part 1 Table A (page).
TABLE_A = [
    ("DE51 ABC", "current"),
    ("A123 ABC", "prefix"),
    ("ABC 123A", "suffix"),
    ("1234 AB", "dateless"),
    ("1234 A", "dateless"),
    ("123 ABC", "dateless"),
    ("123 AB", "dateless"),
    ("12 A", "dateless"),
    ("ABC 123", "dateless"),
    ("AB 123", "dateless"),
    ("A 12", "dateless"),
    ("AB 1234", "dateless"),
    ("A 1234", "dateless"),
    ("ABZ 1234", "northern_ireland"),
    ("1234 ABZ", "northern_ireland"),
]

CURRENT = [
    # DVLA INF104 (page)
    ("51", date(2001, 9, 1), date(2002, 2, 28)),
    ("03", date(2003, 3, 1), date(2003, 8, 31)),
    ("60", date(2010, 9, 1), date(2011, 2, 28)),
    ("21", date(2021, 3, 1), date(2021, 8, 31)),
    ("71", date(2021, 9, 1), date(2022, 2, 28)),
    # By the same rule, leap years and the end of the series "until 50/00 in 2050/51" (page)
    ("02", date(2002, 3, 1), date(2002, 8, 31)),
    ("73", date(2023, 9, 1), date(2024, 2, 29)),
    ("50", date(2050, 3, 1), date(2050, 8, 31)),
    ("99", date(2049, 9, 1), date(2050, 2, 28)),
    ("00", date(2050, 9, 1), date(2051, 2, 28)),
]

PREFIX = [
    ("A", date(1983, 8, 1), date(1984, 7, 31)),  # page
    ("B", date(1984, 8, 1), date(1985, 7, 31)),  # page
    ("H", date(1990, 8, 1), date(1991, 7, 31)),  # page
    ("J", date(1991, 8, 1), date(1992, 7, 31)),  # page
    ("R", date(1997, 8, 1), date(1998, 7, 31)),  # page
    ("S", date(1998, 8, 1), date(1999, 2, 28)),  # page
    ("T", date(1999, 3, 1), date(1999, 8, 31)),  # page for the start; the end from memory
    ("V", date(1999, 9, 1), date(2000, 2, 29)),  # from memory
    ("W", date(2000, 3, 1), date(2000, 8, 31)),  # from memory
    ("X", date(2000, 9, 1), date(2001, 2, 28)),  # from memory
    ("Y", date(2001, 3, 1), date(2001, 8, 31)),  # page
]

SUFFIX = [
    ("A", date(1963, 1, 1), date(1963, 12, 31)),  # page
    ("B", date(1964, 1, 1), date(1964, 12, 31)),  # page
    ("D", date(1966, 1, 1), date(1966, 12, 31)),  # from memory
    ("E", date(1967, 1, 1), date(1967, 7, 31)),  # page
    ("F", date(1967, 8, 1), date(1968, 7, 31)),  # page
    ("J", date(1970, 8, 1), date(1971, 7, 31)),  # from memory
    ("N", date(1974, 8, 1), date(1975, 7, 31)),  # from memory
    ("P", date(1975, 8, 1), date(1976, 7, 31)),  # from memory
    ("R", date(1976, 8, 1), date(1977, 7, 31)),  # from memory
    ("T", date(1978, 8, 1), date(1979, 7, 31)),  # from memory
    ("V", date(1979, 8, 1), date(1980, 7, 31)),  # from memory
    ("Y", date(1982, 8, 1), date(1983, 7, 31)),  # from memory
]

AGE_LETTERS = "ABCDEFGHJKLMNPRSTVWXY"


def period(text: str) -> tuple[date | None, date | None]:
    mark = read_mark(text)
    return mark.earliest, mark.latest


@pytest.mark.parametrize(("text", "form"), TABLE_A)
def test_it_recognises_every_layout_of_table_a_without_remark(text: str, form: str) -> None:
    mark = read_mark(text)
    assert (mark.text, mark.form, mark.remarks) == (text, form, ())


@pytest.mark.parametrize(("text", "form"), TABLE_A)
@pytest.mark.parametrize("separator", ["", "  ", "-", " - ", "\u00a0", "\u2013", "\t"])
def test_it_shows_one_space_however_the_mark_was_typed(
    text: str, form: str, separator: str
) -> None:
    mark = read_mark(f" {text.lower().replace(' ', separator)}\n")
    assert (mark.text, mark.key, mark.form) == (text, text.replace(" ", ""), form)


@pytest.mark.parametrize(("age", "earliest", "latest"), CURRENT)
def test_the_two_figures_give_the_half_year(age: str, earliest: date, latest: date) -> None:
    assert period(f"TU{age} ABC") == (earliest, latest)


@pytest.mark.parametrize(("letter", "earliest", "latest"), PREFIX)
def test_the_prefix_letter_gives_its_period(letter: str, earliest: date, latest: date) -> None:
    assert period(f"{letter}12 TUJ") == (earliest, latest)


@pytest.mark.parametrize(("letter", "earliest", "latest"), SUFFIX)
def test_the_suffix_letter_gives_its_period(letter: str, earliest: date, latest: date) -> None:
    assert period(f"TUJ 12{letter}") == (earliest, latest)


def test_age_identifiers_follow_one_another_without_gap_or_overlap() -> None:
    marks = [f"TUJ 12{letter}" for letter in AGE_LETTERS]
    marks += [f"{letter}12 TUJ" for letter in AGE_LETTERS]
    marks += ["TU51 ABC"]
    marks += [f"TU{year + half:02} ABC" for year in range(2, 50) for half in (0, 50)]
    marks += ["TU50 ABC", "TU00 ABC"]
    for (_, before), (after, _) in pairwise(period(mark) for mark in marks):
        assert before is not None
        assert after == before + timedelta(days=1)


@pytest.mark.parametrize("text", ["123 TUJ", "TU 1234", "TUZ 1234", "Q123 TUJ", "TU01 ABC"])
def test_it_gives_no_period_where_the_mark_stands_for_none(text: str) -> None:
    assert period(text) == (None, None)


def test_a_q_prefix_says_that_the_age_is_unknown() -> None:
    mark = read_mark("Q123 TUJ")
    assert mark.form == "prefix"
    assert mark.remarks == (
        "Q stands for a vehicle whose age or identity was not known when registered.",
    )


def test_the_q_series_of_northern_ireland_says_so_as_well() -> None:
    # "QNI 1234" is how it is written there (from memory).
    for text in ("QNI 1234", "1234 QNI"):
        assert read_mark(text).remarks == read_mark("Q123 TUJ").remarks
    (remark,) = read_mark("QTZ 1234").remarks
    assert remark.startswith("Q is not used in the letters")


@pytest.mark.parametrize(
    ("text", "today", "month"),
    [
        ("TU27 ABC", date(2027, 2, 28), "March 2027"),
        ("TU27 ABC", date(2027, 3, 1), None),
        ("TU77 ABC", date(2027, 3, 1), "September 2027"),
        ("TU99 ABC", date(2026, 11, 28), "September 2049"),
        ("TU21 ABC", date(2026, 11, 28), None),
        ("TU 1234", date(1900, 1, 1), None),
    ],
)
def test_an_age_still_to_come_is_a_remark(text: str, today: date, month: str | None) -> None:
    remark = remark_to_come(read_mark(text), today)
    assert (remark is None) == (month is None)
    if month:
        assert f"of {text} stands for {month} on, which is still to come" in str(remark)


@pytest.mark.parametrize("letter", "IOUZ")
def test_an_age_letter_that_was_never_used_is_a_remark(letter: str) -> None:
    for text in (f"{letter}123 TUJ", f"TUJ 123{letter}"):
        mark = read_mark(text)
        assert (mark.earliest, mark.latest) == (None, None)
        assert mark.remarks == (
            f"{letter} was never used as an age letter: check it on the plate.",
        )


def test_a_suffix_q_was_never_used_either() -> None:
    assert read_mark("TUJ 123Q").remarks == (
        "Q was never used as an age letter: check it on the plate.",
    )


# Letters never used: I, Q and Z in the first two, I and Q in the last three of a current mark,
# I, Q and Z in the three of a prefix or suffix mark (page).
@pytest.mark.parametrize(
    ("text", "letters"),
    [
        ("TI21 ABC", "I"),
        ("QU21 ABC", "Q"),
        ("TZ21 ABC", "Z"),
        ("IQ21 ABC", "I and Q"),
        ("TU21 AIC", "I"),
        ("TU21 QQQ", "Q"),
        ("A123 TIJ", "I"),
        ("Q123 TZJ", "Z"),
        ("TQZ 123A", "Q and Z"),
        ("TQ 1234", "Q"),
    ],
)
def test_letters_that_were_never_used_there_are_a_remark(text: str, letters: str) -> None:
    mark = read_mark(text)
    assert mark.form != "unrecognised"
    assert mark.remarks[-1].startswith(f"{letters} is not used in")


@pytest.mark.parametrize("text", ["TU21 ZAZ", "TUZ 123", "IJ 1234", "1234 TIJ", "JX19 KLM"])
def test_letters_that_are_in_order_there_are_no_remark(text: str) -> None:
    assert read_mark(text).remarks == ()


def test_the_age_identifier_01_was_never_issued() -> None:
    assert read_mark("TU01 ABC").remarks == (
        "The age identifier 01 was never issued: check it on the plate.",
    )


@pytest.mark.parametrize("text", ["A012 TUJ", "TUJ 012A", "012 TUJ", "TU 0123", "TUZ 0123"])
def test_a_number_that_begins_with_nought_is_a_remark(text: str) -> None:
    (remark,) = read_mark(text).remarks
    assert "begin with 0" in remark


@pytest.mark.parametrize("text", ["TUJ 1234", "1234 TUJ", "ZTU 1234"])
def test_four_figures_with_three_letters_need_an_i_or_z_among_the_last_two(text: str) -> None:
    mark = read_mark(text)
    assert mark.form == "northern_ireland"
    assert "Northern Ireland only" in mark.remarks[0]


@pytest.mark.parametrize("text", ["MAN 123A", "A123 MAN", "TMN 123A"])  # from memory
def test_an_isle_of_man_mark_has_no_age_letter(text: str) -> None:
    mark = read_mark(text)
    assert (mark.earliest, mark.latest) == (None, None)
    assert "Isle of Man" in mark.remarks[0]


@pytest.mark.parametrize("text", ["TU2I ABC", "TU21 A8C", "12345", "TUJX", "123 D 456", "J 12345"])
def test_another_form_is_kept_as_typed_with_a_remark(text: str) -> None:
    mark = read_mark(f"  {text.lower()} ")
    assert (mark.text, mark.key, mark.form) == (text, text.replace(" ", ""), "unrecognised")
    assert (mark.earliest, mark.latest) == (None, None)
    assert "O against 0" in mark.remarks[0]


@pytest.mark.parametrize("text", ["TU21 ABC", "TU IJ 9999", "7"])
def test_another_country_s_mark_is_kept_without_remark(text: str) -> None:
    key = text.replace(" ", "")
    assert read_mark(text, region="DE") == Mark(text, key, "unrecognised", None, None, ())


def test_the_region_may_be_written_in_lower_case() -> None:
    assert read_mark("tu21abc", region="gb") == read_mark("TU21 ABC")


@pytest.mark.parametrize("region", ["GB", "DE"])
@pytest.mark.parametrize("text", ["", "   ", " - ", "\n"])
def test_it_refuses_an_empty_mark(text: str, region: str) -> None:
    with pytest.raises(ValueError, match=r"is empty: enter the letters and figures"):
        read_mark(text, region=region)


@pytest.mark.parametrize("region", ["GB", "DE"])
def test_it_refuses_more_than_twelve_characters(region: str) -> None:
    assert read_mark("ABCDEF 12345", region=region).text == "ABCDEF 12345"
    with pytest.raises(ValueError, match=r"is longer than 12 characters: enter the letters"):
        read_mark("ABCDEF 123456", region=region)


def test_spaces_between_all_characters_do_not_make_a_known_form_too_long() -> None:
    assert read_mark("T U 2 1 A B C").text == "TU21 ABC"


@pytest.mark.parametrize("region", ["GB", "DE"])
@pytest.mark.parametrize(
    ("text", "shown"),
    [
        ("TU21 ABÇ", "Ç"),
        ("TU21.ABC", "."),
        ("TU21 A\u00df", "\u00df"),  # upper case of this letter is SS: must not pass for letters
        ("TU21 AB\u0131", "\u0131"),  # dotless i: its upper case is I
        ("TU\u0662\u0661 ABC", "\u0662, \u0661"),  # Arabic figures are digits to Python
        ("TU21\x00ABC", "U+0000"),
        ("!?!#%&*+", "!, ?, #, %, & and 2 more"),
    ],
)
def test_it_refuses_and_names_other_characters(text: str, shown: str, region: str) -> None:
    with pytest.raises(ValueError, match=re.escape(f"({shown}): enter the letters and figures")):
        read_mark(text, region=region)


def test_it_names_every_problem_at_once() -> None:
    with pytest.raises(ValueError, match=r"is longer than 12 characters and has .*\(!\): enter"):
        read_mark("ABCDEFGHIJKLM!")


def test_a_first_registration_before_the_mark_s_period_is_a_remark() -> None:
    remark = remark_first_registered(read_mark("TU21 ABC"), date(2021, 2, 28))
    assert remark is not None
    assert remark.startswith(
        "From the mark, first registration would not be before 1 March 2021, "
        "yet 28 February 2021 is stated."
    )
    assert "built" not in remark


@pytest.mark.parametrize(
    ("text", "first_registered"),
    [
        ("TU21 ABC", date(2021, 3, 1)),
        ("TU21 ABC", date(2025, 1, 1)),  # an older mark moved to a newer vehicle: quite in order
        ("TU 1234", date(1900, 1, 1)),
        ("Q123 TUJ", date(1900, 1, 1)),
        ("TUZ 1234", date(1900, 1, 1)),
        ("12345", date(1900, 1, 1)),
    ],
)
def test_nothing_is_said_where_the_mark_does_not_contradict(
    text: str, first_registered: date
) -> None:
    assert remark_first_registered(read_mark(text), first_registered) is None


def test_nothing_is_said_from_another_country_s_mark() -> None:
    assert remark_first_registered(read_mark("TU21 ABC", region="IE"), date(1999, 1, 1)) is None


def test_a_mark_cannot_be_changed() -> None:
    with pytest.raises(dataclasses.FrozenInstanceError):
        read_mark("TU21 ABC").key = "TU21ABD"  # type: ignore[misc]


regions = st.sampled_from(["GB", "FR"])
likely_text = st.text(alphabet="ABIOQZabz0159 -\u2013\u00a0\u00df\u0131.", max_size=14)


@given(text=st.one_of(likely_text, st.text()), region=regions)
@example(text="\u017f1", region="GB")  # the long s, whose upper case is S
def test_any_text_is_read_or_refused_with_a_value_error(text: str, region: str) -> None:
    try:
        mark = read_mark(text, region=region)
    except ValueError as error:
        assert "enter the letters and figures" in str(error)  # noqa: PT017
        return
    assert re.fullmatch(r"[A-Z0-9]+", mark.key)
    assert re.fullmatch(r"[A-Z0-9]+( [A-Z0-9]+)*", mark.text)
    assert mark.text.replace(" ", "") == mark.key
    assert len(mark.text) <= MOST_CHARACTERS
    assert (mark.earliest is None) == (mark.latest is None)
    assert read_mark(mark.text, region=region) == mark


@given(st.text(alphabet="ABCIOQTUZ0123456789", min_size=1, max_size=MOST_CHARACTERS))
def test_any_letters_and_figures_up_to_the_limit_are_read(key: str) -> None:
    assert read_mark(key).key == key


@given(
    text=st.sampled_from([text for text, _ in TABLE_A]),
    gaps=st.lists(st.tuples(st.integers(0, 12), st.sampled_from(" -\u2011\u00a0")), max_size=4),
)
def test_spaces_and_hyphens_never_change_what_is_read(
    text: str, gaps: list[tuple[int, str]]
) -> None:
    typed = text
    for place, gap in gaps:
        typed = f"{typed[:place]}{gap}{typed[place:]}"
    assert read_mark(typed) == read_mark(text)


@given(
    letters=st.from_regex(r"[A-HJ-PR-Y]{2}", fullmatch=True),
    age=st.integers(0, 99),
    first_registered=st.dates(date(1995, 1, 1), date(2060, 1, 1)),
)
def test_a_remark_is_made_exactly_when_the_date_is_before_the_period(
    letters: str, age: int, first_registered: date
) -> None:
    mark = read_mark(f"{letters}{age:02} ABC")
    remark = remark_first_registered(mark, first_registered)
    assert (remark is not None) == (mark.earliest is not None and first_registered < mark.earliest)
