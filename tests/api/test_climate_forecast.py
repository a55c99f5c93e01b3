"""A forecast that is sent: a good one takes the place of the last, a bad one never does."""

from datetime import timedelta
from typing import Any

import pytest
import time_machine

from core.clock import now
from jobs.work.models import Forecast
from jobs.work.selectors.air import forecast_hours, forecast_of
from tests.api.air import CLIMATE, ago, foretold, measured, send
from tests.api.steps import done, fields, refused
from tests.scene import Scene, key_api

pytestmark = pytest.mark.django_db


def stands(scene: Scene) -> list[float]:
    """Return the temperatures of the forecast that stands."""
    return [hour.celsius for hour in forecast_hours(forecast_of(scene.workshop.pk))]


def test_a_good_one_is_taken_and_shown_with_its_age(scene: Scene) -> None:
    api = scene.workshop_api()
    answer = done(api.post(CLIMATE, {"forecast": foretold(5, 6, 7)}))
    assert (answer["forecast"]["outcome"], answer["readings"]) == ("taken", [])
    shown = done(api.get(CLIMATE))["forecast"]
    assert (shown["way"], shown["age_minutes"], shown["stale"]) == ("posted", 60, False)
    assert [hour["celsius"] for hour in shown["hours"]] == [5, 6, 7]
    assert stands(scene) == [5, 6, 7]


def test_after_twelve_hours_it_is_stale_and_still_there(scene: Scene) -> None:
    api = scene.workshop_api()
    done(api.post(CLIMATE, {"forecast": foretold()}))
    with time_machine.travel(now() + timedelta(hours=11, minutes=5), tick=False):
        shown = done(api.get(CLIMATE))["forecast"]
    assert (shown["age_minutes"], shown["stale"]) == (725, True)


def test_a_newer_one_takes_its_place_and_an_older_one_does_not(scene: Scene) -> None:
    api = scene.workshop_api()
    done(api.post(CLIMATE, {"forecast": foretold(5)}))
    newer = done(api.post(CLIMATE, {"forecast": foretold(6, issued_at=ago(minutes=30))}))
    older = done(api.post(CLIMATE, {"forecast": foretold(7, issued_at=ago(hours=2))}))
    assert newer["forecast"]["outcome"] == "taken"
    assert older["forecast"]["outcome"] == "known"
    assert older["forecast"]["issued_at"] == newer["forecast"]["issued_at"]
    assert stands(scene) == [6]


def test_the_same_again_is_known(scene: Scene) -> None:
    api, body = scene.workshop_api(), {"forecast": foretold()}
    done(api.post(CLIMATE, body))
    received = Forecast.objects.get().received_at
    assert done(api.post(CLIMATE, body))["forecast"]["outcome"] == "known"
    assert Forecast.objects.get().received_at == received


@pytest.mark.parametrize(
    ("bad", "field"),
    [
        ({"hours": []}, "forecast.hours"),
        ({}, "forecast.hours"),
        ("rain", "forecast"),
        (None, "forecast"),
        (foretold(5, -60), "forecast.hours.1.celsius"),
        (foretold(humidity_percent=101) | {"hours": foretold(5, humidity_percent=101)["hours"]},
         "forecast.hours.0.humidity_percent"),
        ({"hours": list(reversed(foretold(5, 6)["hours"]))}, "forecast.hours.1.at"),
        ({"hours": foretold(5, 6, 7)["hours"][::2]}, "forecast.hours.1.at"),
    ],
)  # fmt: skip
def test_a_bad_one_is_refused_by_field_and_the_last_good_one_stays(
    scene: Scene, bad: Any, field: str
) -> None:
    api = scene.workshop_api()
    done(api.post(CLIMATE, {"forecast": foretold(5, 6)}))
    answer = api.post(CLIMATE, {"forecast": bad})
    assert fields(answer) == [field]
    assert (
        "last good" in answer.json()["next_step"]
        or "nothing was taken" in answer.json()["next_step"]
    )
    assert stands(scene) == [5, 6]


def test_a_bad_one_costs_readings_nothing_and_the_other_way_round(scene: Scene) -> None:
    api = scene.workshop_api()
    answer = send(api, measured(), forecast={"hours": [7]})
    assert answer["taken"] == 1
    assert answer["forecast"]["outcome"] == "refused"
    assert answer["forecast"]["errors"][0]["field"] == "forecast.hours.0"
    answer = send(api, measured(celsius=-60), forecast=foretold(3))
    assert (answer["refused"], answer["forecast"]["outcome"]) == (1, "taken")
    assert stands(scene) == [3]


def test_where_both_are_bad_both_are_told(scene: Scene) -> None:
    body = {"readings": [measured(celsius=-60)], "forecast": {"hours": []}}
    answer = scene.workshop_api().post(CLIMATE, body)
    assert fields(answer) == ["readings.0.celsius", "forecast.hours"]
    assert answer.json()["code"] == "range"


def test_at_most_twenty_of_its_faults_are_named(scene: Scene) -> None:
    bad = foretold(*[99.0] * 30)
    assert len(fields(scene.workshop_api().post(CLIMATE, {"forecast": bad}))) == 20


def test_no_other_workshop_has_it(scene: Scene) -> None:
    done(scene.workshop_api().post(CLIMATE, {"forecast": foretold()}))
    stranger = key_api(scene.stranger_workshop)
    assert done(stranger.get(CLIMATE))["forecast"] is None
    refused(scene.dealer_api().post(CLIMATE, {"forecast": foretold()}), 403)
