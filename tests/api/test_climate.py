"""Readings of the air are taken one by one: a bad one is told, and costs its neighbours nothing."""

from collections.abc import Callable
from datetime import timedelta
from typing import Any

import pytest
import time_machine
from pytest_django import DjangoAssertNumQueries

from core.clock import now
from jobs.work.models import ClimateReading, ClimateSetup
from jobs.work.selectors.air import latest_reading, readings_for_clocks, setup_of
from tests.api.air import CLIMATE, ago, measured, outcomes, send
from tests.api.steps import at_once, done, fields, refused
from tests.scene import Scene, key_api, person_api

pytestmark = pytest.mark.django_db


def test_one_reading_by_a_person_is_of_the_workshop_and_of_now(scene: Scene) -> None:
    answer = done(person_api(scene.valeter).post(CLIMATE, {"celsius": 14, "humidity_percent": 65}))
    assert (answer["taken"], answer["refused"]) == (1, 0)
    (row,) = ClimateReading.objects.all()
    assert (row.place, row.sensor, row.celsius, row.humidity_percent) == ("workshop", "", 14.0, 65)
    assert row.actor == scene.valeter.name
    assert now() - row.at < timedelta(seconds=10)
    assert row.workshop_id == scene.workshop.pk


def test_a_series_of_a_system_is_answered_line_by_line(scene: Scene) -> None:
    answer = send(
        scene.workshop_api(),
        measured(sensor="bay 2"),
        measured(place="outside", celsius=-3, surface_celsius=-5),
    )
    first, second = answer["readings"]
    assert [first["line"], second["line"]] == [1, 2]
    assert first["reading"]["sensor"] == "bay 2"
    assert second["reading"]["place"] == "outside"
    assert second["reading"]["surface_celsius"] == -5
    assert ClimateReading.objects.count() == 2


BAD: list[tuple[dict[str, Any], str, str]] = [
    ({"humidity_percent": 100.1}, "humidity_percent", "range"),
    ({"humidity_percent": -1}, "humidity_percent", "range"),
    ({"humidity_percent": "NaN"}, "humidity_percent", "invalid"),
    ({"celsius": -60}, "celsius", "range"),
    ({"celsius": 60.5}, "celsius", "range"),
    ({"celsius": "NaN"}, "celsius", "invalid"),
    ({"celsius": "Infinity"}, "celsius", "invalid"),
    ({"celsius": "warm"}, "celsius", "invalid"),
    ({"celsius": True}, "celsius", "invalid"),
    ({"celsius": None}, "celsius", "null"),
    ({"surface_celsius": 90}, "surface_celsius", "range"),
    ({"at": "2027-03-01T09:30:00"}, "at", "no_zone"),
    ({"at": "yesterday"}, "at", "invalid"),
    ({"place": "roof"}, "place", "invalid_choice"),
    ({"sensor": "x" * 41}, "sensor", "max_length"),
    ({"temperature": 12}, "temperature", "invalid"),
]


@pytest.mark.parametrize(("changes", "field", "code"), BAD)
def test_a_bad_reading_is_told_and_its_neighbours_are_taken(
    scene: Scene, changes: dict[str, Any], field: str, code: str
) -> None:
    answer = send(
        scene.workshop_api(),
        measured(),
        measured(at=ago(minutes=4)) | changes,
        measured(at=ago(minutes=3)),
    )
    assert outcomes(answer) == ["taken", "refused", "taken"]
    bad = answer["readings"][1]
    assert (bad["code"], bad["reading"]) == (code, None)
    assert [error["field"] for error in bad["errors"]] == [field]
    assert bad["message"].startswith(field)
    assert ClimateReading.objects.count() == 2


@pytest.mark.parametrize(
    ("span", "code"), [({"minutes": -3}, "to_come"), ({"days": 61}, "long_past")]
)
def test_a_time_to_come_or_long_past_is_refused(
    scene: Scene, span: dict[str, float], code: str
) -> None:
    problem = refused(scene.workshop_api().post(CLIMATE, measured(at=ago(**span))), 400)
    assert problem["code"] == code
    assert [error["field"] for error in problem["errors"]] == ["at"]
    assert not ClimateReading.objects.exists()


@pytest.mark.parametrize("span", [{"minutes": -1}, {"days": 59}])
def test_a_clock_a_minute_fast_and_a_late_upload_are_taken(
    scene: Scene, span: dict[str, float]
) -> None:
    answer = send(scene.workshop_api(), measured(at=ago(**span)))
    assert outcomes(answer) == ["taken"]


def test_where_nothing_could_be_taken_every_field_is_named_with_its_place(scene: Scene) -> None:
    bad = [measured(celsius=-60, humidity_percent=101), measured(at="soon"), 7, None]
    problem = refused(scene.workshop_api().post(CLIMATE, {"readings": bad}), 400, "invalid-request")
    assert {error["field"] for error in problem["errors"]} == {
        "readings.0.celsius",
        "readings.0.humidity_percent",
        "readings.1.at",
        "readings.2.body",
        "readings.3.body",
    }
    assert [line["outcome"] for line in problem["readings"]] == ["refused"] * 4
    assert not ClimateSetup.objects.filter(clocks_due=True).exists()


def test_nan_in_the_json_is_no_json(scene: Scene) -> None:
    api = scene.workshop_api()
    answer = api.client.post(
        "/api/v1" + CLIMATE,
        b'{"celsius": NaN}',
        content_type="application/json",
        headers=api.headers,
    )
    assert "JSON" in refused(answer, 400)["detail"]


@pytest.mark.parametrize(
    ("body", "named"),
    [
        ({}, ["celsius"]),
        ({"humidity_percent": 50}, ["celsius"]),
        ({"readings": []}, ["readings"]),
        ({"readings": [{"celsius": 1}] * 1001}, ["readings"]),
        ({"readings": [{"celsius": 1}], "celsius": 2}, ["readings"]),
        ({"readings": [{"celsius": 1}], "temperature": 2}, ["temperature"]),
    ],
)
def test_a_body_that_is_neither_way_is_refused(
    scene: Scene, body: dict[str, Any], named: list[str]
) -> None:
    assert fields(scene.workshop_api().post(CLIMATE, body)) == named


def series_of(count: int) -> list[dict[str, Any]]:
    """Return readings of one sensor, a quarter of an hour apart."""
    first = 15 * count
    return [
        measured(at=ago(minutes=first - 15 * index), celsius=10 + index % 7)
        for index in range(count)
    ]


def test_a_thousand_readings_are_taken_at_once(scene: Scene) -> None:
    assert send(scene.workshop_api(), *series_of(1000))["taken"] == 1000


@pytest.mark.parametrize("count", [1, 60])
def test_a_series_takes_as_many_queries_as_one_reading(
    scene: Scene, count: int, django_assert_num_queries: DjangoAssertNumQueries
) -> None:
    api = scene.workshop_api()
    # The key and its last use; the setup made and locked; what stands around, what is later; the
    # readings, the flag; and a savepoint in and out.
    with django_assert_num_queries(10):
        assert send(api, *series_of(count))["taken"] == count


def test_an_exact_duplicate_is_known_and_changes_nothing(scene: Scene) -> None:
    api, reading = scene.workshop_api(), measured(sensor="bay 2")
    first = send(api, reading)
    again = send(api, reading, measured(at=ago(minutes=1)), reading)
    assert outcomes(again) == ["known", "taken", "known"]
    assert again["readings"][0]["reading"]["id"] == first["readings"][0]["reading"]["id"]
    assert ClimateReading.objects.count() == 2


@pytest.mark.parametrize(
    "changes", [{"celsius": 13}, {"humidity_percent": 71}, {"surface_celsius": 10}]
)
def test_another_value_for_the_same_instant_and_sensor_is_refused(
    scene: Scene, changes: dict[str, Any]
) -> None:
    api, reading = scene.workshop_api(), measured(sensor="bay 2")
    send(api, reading)
    problem = refused(api.post(CLIMATE, {**reading, **changes}), 400)
    assert problem["code"] == "other_value"
    assert "12.5 °C and 70 %" in problem["detail"]
    assert [error["field"] for error in problem["errors"]] == ["at"]
    assert ClimateReading.objects.get().celsius == 12.5


def test_other_sensors_and_places_may_say_something_else_at_the_same_instant(scene: Scene) -> None:
    reading = measured()
    neighbours = [
        {**reading, "sensor": "bay 2", "celsius": 13},
        {**reading, "place": "outside", "celsius": 2},
    ]
    assert outcomes(send(scene.workshop_api(), reading, *neighbours)) == ["taken"] * 3


def test_two_values_for_one_instant_in_one_series_are_one_too_many(scene: Scene) -> None:
    reading = measured()
    answer = send(scene.workshop_api(), reading, {**reading, "celsius": 13})
    assert outcomes(answer) == ["taken", "refused"]


def test_an_idempotency_key_gets_the_first_answer_again(scene: Scene) -> None:
    api, body = scene.workshop_api(), {"celsius": 12}
    first = api.post(CLIMATE, body, {"Idempotency-Key": "a"})
    second = api.post(CLIMATE, body, {"Idempotency-Key": "a"})
    assert first.content == second.content
    assert ClimateReading.objects.count() == 1
    refused(api.post(CLIMATE, {"celsius": 13}, {"Idempotency-Key": "a"}), 422)


def test_a_late_reading_is_taken_marked_and_used(scene: Scene) -> None:
    api = scene.workshop_api()
    send(api, measured(at=ago(hours=1)), measured(at=ago(minutes=1)))
    answer = send(api, measured(at=ago(minutes=30), celsius=9))
    (line,) = answer["readings"]
    assert (line["outcome"], line["code"]) == ("marked", "late")
    assert "used all the same" in line["message"]
    assert line["reading"]["mark_words"] == "came after later ones"
    used = readings_for_clocks(scene.workshop.pk, since=now() - timedelta(hours=2), until=now())
    assert [reading.celsius for reading in used] == [12.5, 9.0, 12.5]


def test_another_sensor_does_not_make_a_reading_late(scene: Scene) -> None:
    api = scene.workshop_api()
    send(api, measured(at=ago(minutes=1), sensor="bay 1"))
    assert outcomes(send(api, measured(at=ago(minutes=30), sensor="bay 2"))) == ["taken"]


def test_a_jumbled_series_marks_what_comes_after_later_ones(scene: Scene) -> None:
    series = [measured(at=ago(minutes=minutes)) for minutes in (30, 10, 20)]
    assert outcomes(send(scene.workshop_api(), *series)) == ["taken", "taken", "marked"]


def woken(
    scene: Scene,
    monkeypatch: pytest.MonkeyPatch,
    capture: Callable[..., Any],
    *readings: Any,
) -> int:
    """Send readings and return how often the clocks were woken after the commit."""
    calls: list[bool] = []
    monkeypatch.setattr("jobs.work.services.air.readings.wake_clocks", lambda: calls.append(True))
    with capture(execute=True):
        send(scene.workshop_api(), *readings)
    return len(calls)


def test_readings_in_the_workshop_make_its_clocks_due_and_wake_a_worker(
    scene: Scene,
    monkeypatch: pytest.MonkeyPatch,
    django_capture_on_commit_callbacks: Callable[..., Any],
) -> None:
    series = [measured(), measured(at=ago(minutes=1))]
    assert woken(scene, monkeypatch, django_capture_on_commit_callbacks, *series) == 1
    assert setup_of(scene.workshop.pk).clocks_due
    ClimateSetup.objects.update(clocks_due=False)
    assert woken(scene, monkeypatch, django_capture_on_commit_callbacks, *series) == 0  # known
    outside = measured(place="outside")
    assert woken(scene, monkeypatch, django_capture_on_commit_callbacks, outside) == 0
    assert not setup_of(scene.workshop.pk).clocks_due


def test_a_series_as_csv_is_read_as_well(scene: Scene) -> None:
    api = scene.workshop_api()
    sheet = (
        "\ufeffat,celsius,humidity_percent,sensor,place\r\n"
        f"{ago(minutes=5)},12.5,70,bay 2,\r\n"
        f"{ago(minutes=4)},12.5,170,bay 2,workshop\r\n"
        f"{ago(minutes=3)},2.5,,,outside\r\n"
    )
    answer = done(post_csv(api, sheet))
    assert outcomes(answer) == ["taken", "refused", "taken"]
    assert answer["readings"][1]["errors"][0]["field"] == "humidity_percent"


@pytest.mark.parametrize(
    ("sheet", "named"),
    [
        ("at,temperature\r\n1,2\r\n", ["temperature", "celsius"]),
        ("at,celsius,celsius\r\n1,2,3\r\n", ["celsius"]),
        ("\r\n", ["celsius", "at"]),
        ("at,celsius\r\n", []),
        ('at,celsius\r\n"', []),
    ],
)
def test_a_sheet_that_is_not_right_is_refused_naming_its_columns(
    scene: Scene, sheet: str, named: list[str]
) -> None:
    assert fields(post_csv(scene.workshop_api(), sheet)) == named


def post_csv(api: Any, sheet: str) -> Any:
    return api.client.post(
        "/api/v1" + CLIMATE, sheet.encode(), content_type="text/csv", headers=api.headers
    )


def test_reading_the_air_shows_what_follows_from_it(
    scene: Scene, django_assert_num_queries: DjangoAssertNumQueries
) -> None:
    api = scene.workshop_api()
    send(
        api,
        measured(at=ago(hours=30), celsius=9, sensor="bay 1"),
        measured(at=ago(minutes=90), celsius=20, humidity_percent=50, sensor="bay 2"),
        measured(at=ago(minutes=80), celsius=-2, humidity_percent=None, place="outside"),
    )
    # The key, the newest of two places, the readings, the sensors, the setup, the forecast.
    with django_assert_num_queries(7):
        air = done(api.get(CLIMATE))
    inside, outside = air["latest"]
    # Magnus' formula by hand for 20 °C and 50 %: 9.27 °C, and half of 2,332.6 Pa.
    assert (inside["dew_point_celsius"], inside["vapour_pressure_deficit_pascals"]) == (9.3, 1166)
    assert (inside["age_minutes"], inside["frost_risk"]) == (90, "none")
    assert inside["surface_margin_kelvin"] == 10.7
    assert (outside["dew_point_celsius"], outside["frost_risk"]) == (None, "likely")
    assert [reading["celsius"] for reading in air["readings"]] == [-2, 20]
    assert [(sensor["place"], sensor["sensor"]) for sensor in air["sensors"]] == [
        ("outside", ""),
        ("workshop", "bay 2"),
    ]
    assert (air["hours"], air["more"], air["forecast"]) == (24, False, None)
    assert air["fetching"] == {"on": False, "tried_at": None, "next_at": None, "problem": ""}
    longer = done(api.get(CLIMATE + "?hours=336"))
    assert [reading["celsius"] for reading in longer["readings"]] == [-2, 20, 9]


@pytest.mark.parametrize("hours", ["0", "337", "-1", "1.5", "", "x", "\u0663"])
def test_hours_are_a_number_in_the_range(scene: Scene, hours: str) -> None:
    assert fields(scene.workshop_api().get(f"{CLIMATE}?hours={hours}")) == ["hours"]


def test_where_nobody_measured_there_is_nothing_to_show(scene: Scene) -> None:
    air = done(scene.workshop_api().get(CLIMATE))
    assert (air["latest"], air["readings"], air["sensors"]) == ([], [], [])


def test_no_other_workshop_sees_or_meets_a_reading(scene: Scene) -> None:
    reading = measured(sensor="bay 2")
    send(scene.workshop_api(), reading)
    stranger = key_api(scene.stranger_workshop)
    air = done(stranger.get(CLIMATE + "?hours=336"))
    assert (air["latest"], air["readings"], air["sensors"]) == ([], [], [])
    assert outcomes(send(stranger, {**reading, "celsius": 20})) == ["taken"]
    assert latest_reading(scene.workshop.pk, "workshop").celsius == 12.5  # type: ignore[union-attr]
    refused(scene.dealer_api().get(CLIMATE), 403, "not-allowed")
    refused(scene.dealer_api().post(CLIMATE, reading), 403, "not-allowed")


def test_clocks_get_the_last_reading_before_their_time_in_one_query(
    scene: Scene, django_assert_num_queries: DjangoAssertNumQueries
) -> None:
    send(
        scene.workshop_api(),
        *(measured(at=ago(hours=hours), celsius=hours) for hours in (30, 20, 10, 5, 1)),
        measured(at=ago(hours=7), celsius=-7, place="outside"),
    )
    since, until = now() - timedelta(hours=15), now() - timedelta(hours=3)
    with django_assert_num_queries(1):
        used = readings_for_clocks(scene.workshop.pk, since=since, until=until)
    assert [reading.celsius for reading in used] == [20, 10, 5]
    early = now() - timedelta(hours=40)
    used = readings_for_clocks(scene.workshop.pk, since=early, until=until)
    assert [reading.celsius for reading in used] == [30, 20, 10, 5]
    assert readings_for_clocks(scene.stranger_workshop.pk, since=early, until=until) == []


def test_a_reading_that_two_send_at_once_is_there_once(transactional_db: None) -> None:
    del transactional_db
    from tests.scene import make_scene  # noqa: PLC0415

    scene, reading = make_scene(), measured(sensor="bay 2")
    apis = [scene.workshop_api() for _ in range(4)]
    answers = at_once(*(lambda api=api: send(api, reading) for api in apis))
    assert sorted(answer["taken"] for answer in answers) == [0, 0, 0, 1]
    assert ClimateReading.objects.count() == 1


def test_the_present_moves_the_age(scene: Scene) -> None:
    api = scene.workshop_api()
    send(api, measured(at=ago(minutes=1)))
    with time_machine.travel(now() + timedelta(hours=3), tick=False):
        (latest,) = done(api.get(CLIMATE))["latest"]
    assert latest["age_minutes"] == 181
