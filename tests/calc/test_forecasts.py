"""What counts as a forecast: our own documented shape, so the witness is its text."""

from datetime import UTC, datetime, timedelta
from typing import Any

import pytest

from jobs.work.calc.air.forecasts import MOST_HOURS, read_forecast

NOW = datetime(2027, 3, 1, 9, 30, tzinfo=UTC)


def hour(index: int, **changes: Any) -> dict[str, Any]:
    """Return the forecast for an hour counted from nine o'clock."""
    at = datetime(2027, 3, 1, 9, tzinfo=UTC) + timedelta(hours=index)
    values = {"at": at.isoformat(), "celsius": 5, "humidity_percent": 80, "rain_chance_percent": 10}
    return {**values, **changes}


def document(*hours: Any, **more: Any) -> dict[str, Any]:
    return {"hours": list(hours or [hour(0), hour(1)]), **more}


def wrong(sent: Any) -> dict[str, str]:
    """Return the codes of what is wrong, by field."""
    return {fault.field: fault.code for fault in read_forecast(sent, at=NOW).wrong}


def test_a_right_one_is_read_in_utc() -> None:
    sent = document(hour(0, at="2027-03-01T10:00:00+01:00"), issued_at="2027-03-01T08:00:00Z")
    read = read_forecast(sent, at=NOW)
    assert read.wrong == ()
    assert read.issued_at == datetime(2027, 3, 1, 8, tzinfo=UTC)
    (first,) = read.hours
    assert (first.at, first.celsius) == (datetime(2027, 3, 1, 9, tzinfo=UTC), 5.0)


def test_what_a_source_does_not_tell_may_be_left_out() -> None:
    read = read_forecast({"hours": [{"at": hour(0)["at"], "celsius": -3.5}]}, at=NOW)
    assert (read.wrong, read.issued_at) == ((), NOW)
    assert (read.hours[0].humidity_percent, read.hours[0].rain_chance_percent) == (None, None)


@pytest.mark.parametrize("sent", [None, 7, "rain", [], True, [hour(0)]])
def test_what_is_no_object_is_no_forecast(sent: Any) -> None:
    assert wrong(sent) == {"": "not_a_forecast"}


@pytest.mark.parametrize("hours", [None, [], {}, "x", [hour(0)] * (MOST_HOURS + 1)])
def test_hours_are_a_list_of_some(hours: Any) -> None:
    assert set(wrong({"hours": hours})) == {"hours"}


def test_hours_have_to_rise() -> None:
    assert wrong(document(hour(1), hour(0))) == {"hours.1.at": "not_rising"}
    assert wrong(document(hour(1), hour(1))) == {"hours.1.at": "not_rising"}


def test_a_missing_hour_is_told() -> None:
    assert wrong(document(hour(0), hour(2))) == {"hours.1.at": "missing"}


@pytest.mark.parametrize(
    ("changes", "field", "code"),
    [
        ({"celsius": -60}, "celsius", "range"),
        ({"celsius": 61}, "celsius", "range"),
        ({"celsius": None}, "celsius", "required"),
        ({"celsius": "5"}, "celsius", "invalid"),
        ({"celsius": True}, "celsius", "invalid"),
        ({"celsius": float("nan")}, "celsius", "invalid"),
        ({"humidity_percent": 101}, "humidity_percent", "range"),
        ({"humidity_percent": -1}, "humidity_percent", "range"),
        ({"rain_chance_percent": 100.5}, "rain_chance_percent", "range"),
        ({"at": "2027-03-01T10:00:00"}, "at", "invalid"),
        ({"at": "2027-03-01"}, "at", "invalid"),
        ({"at": "soon"}, "at", "invalid"),
        ({"at": None}, "at", "invalid"),
        ({"at": "0001-01-01T00:00:00+23:59"}, "at", "invalid"),
        ({"wind": 3}, "wind", "unknown"),
    ],
)
def test_an_hour_that_is_not_right_is_named(changes: Any, field: str, code: str) -> None:
    assert wrong(document(hour(0), hour(1, **changes))) == {f"hours.1.{field}": code}


def test_everything_wrong_is_told_at_once() -> None:
    sent = document(hour(0, celsius=99), 7, hour(2, humidity_percent="damp"), issued_at="soon", a=1)
    assert wrong(sent) == {
        "a": "unknown",
        "issued_at": "invalid",
        "hours.0.celsius": "range",
        "hours.1": "invalid",
        "hours.2.humidity_percent": "invalid",
    }


def test_a_forecast_that_is_over_or_too_far_ahead_is_told() -> None:
    assert wrong(document(hour(-2), hour(-1))) == {"hours.1.at": "long_past"}
    assert wrong(document(hour(24 * 31))) == {"hours.0.at": "to_come"}


def test_the_hour_that_runs_is_not_over() -> None:
    assert wrong(document(hour(0))) == {}


@pytest.mark.parametrize(
    ("issued_at", "code"),
    [("2027-03-01T09:33:00Z", "to_come"), ("2027-02-22T09:29:00Z", "long_past")],
)
def test_it_was_issued_lately(issued_at: str, code: str) -> None:
    assert wrong(document(issued_at=issued_at)) == {"issued_at": code}
    assert wrong(document(issued_at="2027-03-01T09:31:00Z")) == {}
