"""Days of the workshop's own when the clocks change: each has its own hours, and all of them."""

from collections.abc import Iterator
from datetime import UTC, date, datetime, timedelta

import pytest
from django.utils import timezone
from django.utils.timezone import localtime
from hypothesis import given
from hypothesis import strategies as st

from core.clock import instant_of
from jobs.tablet.rows import answer_times
from jobs.work.selectors.hours import day_span

# By the tz database: an hour, half an hour, and at midnight itself, so that a day has no 00:00.
ZONES = ["Europe/London", "Australia/Lord_Howe", "America/Havana"]
DAYS = st.dates(date(2026, 1, 1), date(2027, 12, 31))


@pytest.fixture(params=ZONES, autouse=True)
def zone(request: pytest.FixtureRequest) -> Iterator[str]:
    """Put the workshop into a zone."""
    with timezone.override(request.param):
        yield request.param


@given(DAYS)
def test_days_follow_each_other_without_a_gap_and_hold_their_own_instants(day: date) -> None:
    span = day_span(day)
    assert span.end == day_span(day + timedelta(days=1)).start
    assert span.start.tzinfo is span.end.tzinfo is UTC
    assert localtime(span.start).date() == day
    assert localtime(span.start - timedelta(seconds=1)).date() == day - timedelta(days=1)
    assert localtime(span.end - timedelta(seconds=1)).date() == day


def test_a_years_days_add_up_to_its_hours_and_two_of_them_are_short_and_long() -> None:
    days = [date(2026, 1, 1) + timedelta(days=number) for number in range(365)]
    lengths = [day_span(day).seconds / 3600 for day in days]
    assert sum(lengths) == 365 * 24
    changed = sorted(hours for hours in lengths if hours != 24)
    step = 0.5 if timezone.get_current_timezone_name() == "Australia/Lord_Howe" else 1
    assert changed == [24 - step, 24 + step]


@given(DAYS, st.integers(0, 23))
def test_an_hour_of_a_day_is_what_the_clocks_show(day: date, hour: int) -> None:
    shown = localtime(instant_of(day, hour))
    left_out = shown.hour != hour or shown.minute
    assert shown.date() == day
    if left_out:  # an hour that the clocks jump over
        assert day_span(day).seconds < 24 * 3600
        assert timedelta() < shown - shown.replace(hour=hour, minute=0) <= timedelta(hours=1)


@given(DAYS, st.integers(0, 86_399))
def test_an_answer_by_five_is_by_five_on_the_clocks(day: date, second: int) -> None:
    at = day_span(day).start + timedelta(seconds=second)
    today = localtime(at).date()
    for moment, words in answer_times(at):
        instant = datetime.fromisoformat(moment)
        assert instant > at
        shown = localtime(instant)
        if "by 17:00" in words:
            assert (shown.hour, shown.minute) == (17, 0)
            assert (shown.date() - today).days == ("tomorrow" in words)
