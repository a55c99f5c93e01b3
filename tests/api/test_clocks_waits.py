"""GET /jobs/{id}/waits: what a car waits for, when it may go outside, what speaks against work."""

from datetime import timedelta
from typing import Any

import pytest
import time_machine
from pytest_django import DjangoAssertNumQueries

from jobs.work.models import ClimateReading, Forecast, Place, WaitClock
from tests.api.clock_steps import (
    EIGHT,
    after,
    every_half_hour,
    felt,
    finished,
    in_curing,
    measured,
    said,
    task_of,
)
from tests.api.steps import arrived, done, moved
from tests.scene import Scene, key_api


def waits(scene: Scene, job: Any) -> Any:
    return done(scene.workshop_api().get(f"/jobs/{job['id']}/waits"))


def forecast(scene: Scene, **rain: int) -> None:
    """Foresee a mild day from eight, with a chance of rain in the hours named h9 to h20."""
    hours = [
        {
            "at": said(after(hours=hour)),
            "celsius": 16.0,
            "humidity_percent": 60.0,
            "rain_chance_percent": rain.get(f"h{8 + hour}", 0),
        }
        for hour in range(16)
    ]
    Forecast.objects.create(
        workshop=scene.workshop, way="posted", issued_at=EIGHT, received_at=EIGHT, hours=hours
    )


def test_a_car_on_which_nothing_runs_waits_for_nothing(scene: Scene) -> None:
    with time_machine.travel(EIGHT, tick=False):
        found = waits(scene, arrived(scene))
    assert (found["clocks"], found["done_at"], found["cautions"]) == ([], None, [])
    assert (found["outside"]["code"], found["outside"]["at"]) == ("nothing_waits", said(EIGHT))
    assert (found["reading"], found["forecast"]) == (None, None)


def test_clocks_are_shown_by_the_air_as_it_is_now_without_a_worker(scene: Scene) -> None:
    with time_machine.travel(EIGHT, tick=False) as clock:
        job = in_curing(scene, "trim_dressing", "tyre_dressing")
        clock.move_to(after(hours=1))
        measured(scene, *every_half_hour(EIGHT, after(hours=1), 15.0), humidity=55.0)
        found = waits(scene, job)
    trim, tyres = found["clocks"]
    assert (trim["name"], trim["running"], trim["progress_percent"]) == (
        "Dress exterior trim", True, 33,
    )  # fmt: skip
    assert (trim["basis"], trim["halted"], trim["halted_words"]) == ("measured", "", "")
    assert trim["basis_words"] == WaitClock.Basis.MEASURED.label
    assert (tyres["operation"], tyres["running"]) == ("tyre_dressing", False)
    assert found["done_at"] == {"earliest": trim["earliest_at"], "latest": trim["ends_at"]}
    assert found["reading"] == {
        "at": said(after(hours=1)),
        "age_minutes": 0,
        "celsius": 15.0,
        "humidity_percent": 55.0,
        "surface_celsius": None,
        "stuck": False,
    }


def test_what_has_to_be_felt_says_so_when_it_is_due(scene: Scene) -> None:
    workshop = scene.workshop_api()
    with time_machine.travel(EIGHT, tick=False) as clock:
        job = moved(workshop, arrived(scene, operations=["wet_extraction"]), "cleaning")
        drying = finished(workshop, job, "wet_extraction")
        (before,) = waits(scene, job)["clocks"]
        clock.move_to(after(hours=4))
        found = waits(scene, job)
        (due,) = found["clocks"]
        done(felt(workshop, job, drying, dry=True))
        over = waits(scene, job)
    assert (before["touch_test_due"], due["touch_test_due"]) == (False, True)
    assert (found["outside"]["at"], found["outside"]["code"]) == (None, "touch_test")
    assert over["clocks"][0]["running"] is False
    assert (over["clocks"][0]["closed_at"], over["done_at"]) == (said(after(hours=4)), None)


def test_a_dry_day_lets_it_out_at_once_and_rain_keeps_it_in(scene: Scene) -> None:
    with time_machine.travel(EIGHT, tick=False):
        job = in_curing(scene, "trim_dressing")
        inside = waits(scene, job)
        assert (inside["outside"]["code"], inside["forecast"]) == ("no_forecast", None)
        forecast(scene)
        fine = waits(scene, job)
        Forecast.objects.all().delete()
        forecast(scene, h10=80)
        wet = waits(scene, job)
    assert (fine["outside"]["code"], fine["outside"]["at"]) == ("fine", said(EIGHT))
    assert fine["forecast"] == {"issued_at": said(EIGHT), "age_minutes": 0, "old": False}
    assert wet["outside"]["code"] == "rain"
    assert wet["outside"]["at"] > said(after(hours=2))
    assert wet["outside"]["reason"].startswith("The chance of rain is more than 20 % before ")
    assert fine["outside"]["rain_percent"] is not None
    assert wet["outside"]["rain_percent"] is None
    assert wet["outside"]["keep_dry_until"] == wet["outside"]["at"] == wet["done_at"]["latest"]
    assert wet["outside"]["words"].startswith("Keep it from rain and frost until 11:")


def test_small_chances_that_add_up_keep_it_in(scene: Scene) -> None:
    """Ten per cent in each of four hours may be forty, and nobody knows that it is less."""
    with time_machine.travel(EIGHT, tick=False):
        job = in_curing(scene, "trim_dressing")
        forecast(scene, **{f"h{hour}": 10 for hour in range(8, 20)})
        outside = waits(scene, job)["outside"]
    assert (outside["code"], outside["rain_percent"]["most"]) == ("rain", 20)
    assert outside["at"] > said(EIGHT)
    assert outside["reason"].startswith("The chances of rain add up to more than 20 % before ")


def test_an_old_forecast_is_told_with_its_age_and_not_gone_by(scene: Scene) -> None:
    with time_machine.travel(EIGHT, tick=False) as clock:
        forecast(scene)
        clock.move_to(after(hours=13))
        found = waits(scene, in_curing(scene, "trim_dressing"))
    assert found["forecast"] == {"issued_at": said(EIGHT), "age_minutes": 780, "old": True}
    assert found["outside"]["code"] == "old_forecast"


@pytest.mark.parametrize(
    ("celsius", "humidity", "surface", "codes"),
    [
        (18.0, 50.0, None, []),
        (9.0, 50.0, None, ["too_cold"]),
        (18.0, 90.0, None, ["near_dew_point"]),
        (18.0, 60.0, 9.0, ["near_dew_point", "too_cold"]),
    ],
)
def test_what_speaks_against_the_work_is_said_before_it_starts(
    scene: Scene, celsius: float, humidity: float, surface: float | None, codes: list[str]
) -> None:
    with time_machine.travel(EIGHT, tick=False) as clock:
        job = arrived(scene, operations=["trim_dressing", "vacuum"])
        measured(scene, (EIGHT, celsius), humidity=humidity)
        ClimateReading.objects.update(surface_celsius=surface)
        found = waits(scene, job)["cautions"]
        task = task_of(scene.workshop_api(), job, "trim_dressing")
        clock.move_to(after(hours=2, minutes=1))
        assert waits(scene, job)["cautions"] == []  # too old to say what the air is like
    assert [caution["code"] for caution in found] == codes
    assert {caution["task_id"] for caution in found} <= {task["id"]}


def test_the_products_own_minimum_counts(scene: Scene) -> None:
    workshop = scene.workshop_api()
    product = {"name": "Winter gloss", "operation": "trim_dressing", "reference_minutes": 90}
    made = done(workshop.post("/products", {**product, "apply_from_celsius": 3}))
    with time_machine.travel(EIGHT, tick=False):
        job = arrived(scene, operations=["trim_dressing"])
        measured(scene, (EIGHT, 8.0))
        assert waits(scene, job)["cautions"] == []
        done(workshop.patch(f"/products/{made['id']}", {"apply_from_celsius": 9}))
        (caution,) = waits(scene, job)["cautions"]
    assert caution["text"].startswith("Winter gloss: The air (nobody measured the surface) has 8.0")


def test_readings_from_outside_say_nothing_of_the_workshop(scene: Scene) -> None:
    with time_machine.travel(EIGHT, tick=False):
        job = in_curing(scene, "trim_dressing")
        measured(scene, (EIGHT, 2.0))
        ClimateReading.objects.update(place=Place.OUTSIDE)
        found = waits(scene, job)
    assert (found["clocks"][0]["basis"], found["reading"]) == ("not_measured", None)


def test_the_dealer_reads_it_and_strangers_do_not(scene: Scene) -> None:
    job = in_curing(scene, "trim_dressing")
    assert len(done(scene.dealer_api().get(f"/jobs/{job['id']}/waits"))["clocks"]) == 1
    for organisation in (scene.stranger_dealer, scene.stranger_workshop):
        assert key_api(organisation).get(f"/jobs/{job['id']}/waits").status_code == 404


def test_it_takes_the_same_few_queries_however_much_there_is(
    scene: Scene, django_assert_num_queries: DjangoAssertNumQueries
) -> None:
    with time_machine.travel(EIGHT, tick=False) as clock:
        job = in_curing(
            scene, "trim_dressing", "wax", "tyre_dressing", dealer_ref="", registration="TU21 ABD"
        )
        for operation in ("coating", "touch_in", "vacuum"):
            done(scene.workshop_api().post(f"/jobs/{job['id']}/tasks", {"operation": operation}))
        forecast(scene)
        clock.move_to(after(minutes=25))
        measured(scene, *[(EIGHT + timedelta(minutes=step), 12.0) for step in range(25)])
        api = scene.workshop_api()
        done(api.get("/jobs"))
        # The key; the job, clocks, readings, newest reading, forecast; tasks, catalogue, products.
        with django_assert_num_queries(9):
            done(api.get(f"/jobs/{job['id']}/waits"))
