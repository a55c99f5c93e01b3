"""How pages show times and minutes."""

from datetime import datetime, timedelta
from decimal import Decimal
from unittest.mock import Mock
from zoneinfo import ZoneInfo

import pytest
import time_machine

from core.templatetags.look import ago, exact_time, fact, minutes, price, short_time, when

LONDON = ZoneInfo("Europe/London")
AT = datetime(2027, 3, 3, 16, 30, tzinfo=LONDON)  # a Wednesday


@pytest.mark.parametrize(
    ("moment", "words"),
    [
        (datetime(2027, 3, 3, 8, 5, tzinfo=LONDON), "08:05"),
        (datetime(2027, 3, 2, 23, 59, tzinfo=LONDON), "yesterday 23:59"),
        (datetime(2027, 3, 4, 0, 0, tzinfo=LONDON), "tomorrow 00:00"),
        (datetime(2027, 3, 8, 12, 0, tzinfo=LONDON), "Mon 12:00"),
        (datetime(2027, 3, 20, 12, 0, tzinfo=LONDON), "20 Mar 12:00"),
        (datetime(2026, 12, 24, 12, 0, tzinfo=LONDON), "24 Dec 2026 12:00"),
    ],
)
def test_a_time_is_said_in_as_few_words_as_it_takes(moment: datetime, words: str) -> None:
    assert short_time(moment, AT) == words


def test_the_exact_time_names_day_second_and_zone() -> None:
    summer = datetime(2027, 7, 1, 8, 5, 9, tzinfo=LONDON)
    assert exact_time(summer) == "Thursday 1 July 2027, 08:05:09 BST"


def test_a_time_is_shown_where_the_workshop_is_with_the_exact_one_beside_it() -> None:
    with time_machine.travel(datetime(2027, 7, 1, 12, 0, tzinfo=LONDON), tick=False):
        shown = when(datetime.fromisoformat("2027-07-01T07:05:09Z"))
    assert shown == (
        '<time datetime="2027-07-01T08:05:09+01:00" title="Thursday 1 July 2027, 08:05:09 BST">'
        "08:05</time>"
    )
    assert when(None, "not yet") == "not yet"


@pytest.mark.parametrize(
    ("count", "words"),
    [(0, "0 min"), (45, "45 min"), (60, "1 h"), (130, "2 h 10 min"), (None, "")],
)
def test_minutes_are_said_as_people_say_them(count: int | None, words: str) -> None:
    assert minutes(count) == words


@pytest.mark.parametrize(
    ("gone", "words"),
    [
        (timedelta(seconds=59), "just now"),
        (timedelta(seconds=-30), "just now"),
        (timedelta(minutes=1), "1 minute ago"),
        (timedelta(hours=5, minutes=59), "5 hours ago"),
        (timedelta(days=2), "2 days ago"),
    ],
)
def test_it_says_how_long_ago(gone: timedelta, words: str) -> None:
    with time_machine.travel(AT, tick=False):
        assert ago(AT - gone) == words


@pytest.mark.parametrize(
    ("value", "otherwise", "shown"),
    [
        ("Grey & blue", "", "<div><dt>Colour</dt><dd>Grey &amp; blue</dd></div>"),
        (0, "none", "<div><dt>Colour</dt><dd>0</dd></div>"),
        ("", "not said", "<div><dt>Colour</dt><dd>not said</dd></div>"),
        (None, "not yet", "<div><dt>Colour</dt><dd>not yet</dd></div>"),
        ("", "", ""),
        (None, "", ""),
    ],
)
def test_a_fact_is_a_row_where_there_is_one(value: object, otherwise: str, shown: str) -> None:
    assert fact("Colour", value, otherwise) == shown


def test_a_fact_that_is_a_moment_is_shown_as_one() -> None:
    moment = datetime(2027, 3, 3, 8, 5, tzinfo=LONDON)
    assert fact("Sent", moment) == f"<div><dt>Sent</dt><dd>{when(moment)}</dd></div>"


def test_a_price_has_its_currency_or_is_not_named() -> None:
    assert price(Mock(price=Decimal("64.00"), currency="GBP")) == "64.00 GBP"
    assert price(Mock(price=None, currency="")) == "not named"
