"""The schedule of attempts: the published example, jitter, Retry-After, the last attempt."""

from datetime import UTC, datetime, timedelta

import pytest
from django.conf import settings

from notifications.engine.schedule import Verdict, after_failure, retry_after_wait

AT = datetime(2027, 3, 1, 9, 30, tzinfo=UTC)
WAITS = settings.RETRY_SECONDS


def verdict(
    tries: int, *, status: int | None = 500, retry_after: str | None = None, spread: float = 0.0
) -> Verdict:
    return after_failure(
        tries=tries,
        waits_seconds=WAITS,
        status=status,
        retry_after=retry_after,
        at=AT,
        spread=spread,
    )


def test_ten_attempts_take_75_hours_35_minutes_and_5_seconds() -> None:
    # Source: Standard Webhooks 1.0.0, the specification's example schedule.
    waits = [verdict(tries).next_attempt_at for tries in range(1, 10)]
    total = sum((wait - AT for wait in waits if wait), timedelta())
    assert WAITS[0] == 0
    assert len(WAITS) == 10
    assert total == timedelta(hours=75, minutes=35, seconds=5)


def test_the_tenth_failure_is_the_last() -> None:
    assert verdict(9).next_attempt_at is not None
    assert verdict(10).next_attempt_at is None
    assert verdict(11, status=None).next_attempt_at is None


@pytest.mark.parametrize(("spread", "seconds"), [(-1.0, 270), (0.0, 300), (0.5, 315), (1.0, 330)])
def test_a_wait_is_spread_by_a_tenth(spread: float, seconds: int) -> None:
    assert verdict(2, spread=spread).next_attempt_at == AT + timedelta(seconds=seconds)


@pytest.mark.parametrize(
    ("value", "seconds"),
    [
        ("120", 120),
        (" 120 ", 120),
        ("0", 0),
        ("Mon, 01 Mar 2027 09:40:00 GMT", 600),
        ("Monday, 01-Mar-27 09:40:00 GMT", 600),  # RFC 850, still to be read by RFC 9110 5.6.7
        ("Mon Mar  1 09:40:00 2027", 600),  # asctime, the same
        ("Mon, 01 Mar 2027 09:20:00 GMT", 0),  # past
        ("86401", 24 * 3600),
        ("9999999999", 24 * 3600),
        ("Sun, 01 Mar 2099 00:00:00 GMT", 24 * 3600),
    ],
)
def test_retry_after_is_read_as_seconds_or_a_date_and_capped_at_a_day(
    value: str, seconds: int
) -> None:
    assert retry_after_wait(value, at=AT) == timedelta(seconds=seconds)


@pytest.mark.parametrize("value", [None, "", "soon", "-5", "1.5", "1e3", "32 Mar", "9" * 400])
def test_a_retry_after_that_says_nothing_is_ignored(value: str | None) -> None:
    assert retry_after_wait(value, at=AT) is None


def test_retry_after_lengthens_a_wait_but_never_shortens_it() -> None:
    assert verdict(1, retry_after="60").next_attempt_at == AT + timedelta(seconds=60)
    assert verdict(2, retry_after="1").next_attempt_at == AT + timedelta(seconds=300)
    assert verdict(1, retry_after="999999").next_attempt_at == AT + timedelta(hours=24)


@pytest.mark.parametrize("status", [429, 502, 504])
def test_overload_slows_the_endpoint_for_a_minute_or_as_long_as_it_asks(status: int) -> None:
    assert verdict(1, status=status).slow_until == AT + timedelta(seconds=60)
    asked = verdict(1, status=status, retry_after="300")
    assert asked.slow_until == AT + timedelta(seconds=300)


@pytest.mark.parametrize("status", [None, 301, 400, 404, 410, 500, 503])
def test_other_failures_do_not_slow_it(status: int | None) -> None:
    assert verdict(1, status=status).slow_until is None


def test_only_410_says_that_the_endpoint_is_gone() -> None:
    assert verdict(1, status=410).gone
    assert not any(verdict(1, status=status).gone for status in (None, 400, 404, 409, 429, 500))
