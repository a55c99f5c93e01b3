"""What a car runs on: asked at booking in, and what is said about high voltage because of it."""

import re
from typing import Any

import pytest

from jobs.work.calc.car.fuels import HIGH_VOLTAGE, IF_HIGH_VOLTAGE
from jobs.work.models import Job
from tests.api.looked import words
from tests.api.steps import arrived, detail, done, fields, history, posted
from tests.scene import Api, Scene, person_api

NEAR = ["engine_bay", "vacuum"]


def arrive(api: Api, job: Any, **more: Any) -> Any:
    return api.post(f"/jobs/{job['id']}/arrival", more)


def page(scene: Scene, job: Any) -> str:
    return words(person_api(scene.valeter).client.get(f"/tablet/cars/{job['id']}").content.decode())


def test_the_order_says_it_and_what_stands_there_outranks_it(scene: Scene) -> None:
    job = posted(scene.dealer_api(), fuel="petrol")
    assert job["fuel"] == "petrol"
    assert done(arrive(scene.workshop_api(), job, fuel="hybrid"))["fuel"] == "hybrid"
    assert history(scene.workshop_api(), job)[-1]["data"] == {"fuel": "hybrid"}
    assert Job.objects.get().fuel == "hybrid"


def test_an_arrival_that_does_not_say_it_leaves_it_as_it_was(scene: Scene) -> None:
    job = posted(scene.dealer_api(), fuel="diesel")
    assert done(arrive(scene.workshop_api(), job))["fuel"] == "diesel"


def test_the_walk_round_sets_it_where_it_was_forgotten(scene: Scene) -> None:
    api = scene.workshop_api()
    job = arrived(scene)
    assert job["fuel"] == ""
    done(api.post(f"/jobs/{job['id']}/walk-rounds", {"occasion": "arrival", "fuel": "electric"}))
    assert detail(api, job)["fuel"] == "electric"
    assert history(api, job)[-1]["data"]["fuel"] == "electric"


def test_another_fuel_than_the_five_is_named_as_wrong(scene: Scene) -> None:
    job = posted(scene.dealer_api())
    assert fields(arrive(scene.workshop_api(), job, fuel="coal")) == ["fuel"]


@pytest.mark.parametrize(
    ("fuel", "said"),
    [("petrol", ""), ("gas", ""), ("hybrid", HIGH_VOLTAGE), ("electric", HIGH_VOLTAGE)],
)
def test_the_tablet_warns_of_high_voltage_at_the_engine_bay_where_there_is_any(
    scene: Scene, fuel: str, said: str
) -> None:
    job = arrived(scene, operations=NEAR, fuel=fuel)
    shown = page(scene, job)
    assert shown.count("High voltage") == bool(said)
    assert said in shown


def test_where_nobody_said_the_tablet_says_if(scene: Scene) -> None:
    assert IF_HIGH_VOLTAGE in page(scene, arrived(scene, operations=NEAR))


def test_no_word_of_high_voltage_where_no_work_goes_near_it(scene: Scene) -> None:
    job = arrived(scene, operations=["vacuum", "glass"], fuel="electric")
    assert "High voltage" not in page(scene, job)


def test_the_tablet_asks_at_booking_in_with_what_the_order_says_chosen(scene: Scene) -> None:
    job = posted(scene.dealer_api(), fuel="diesel")
    html = person_api(scene.valeter).client.get(f"/tablet/cars/{job['id']}").content.decode()
    for fuel in ("petrol", "diesel", "hybrid", "electric", "gas"):
        chosen = "checked" if fuel == "diesel" else ""
        assert re.search(rf'name="fuel"\s+value="{fuel}"\s*{chosen}\s*>', html), fuel


RED = {
    "oil_pressure": ("oil_pressure_light_stays", "engine_bay"),
    "brakes": ("brake_light_stays", "brakes"),
    "high_voltage": ("high_voltage_light_stays", "battery"),
    "steering": ("steering_light_stays", "steering"),
    "airbag": ("airbag_light_stays", "dashboard"),
}


def lit(api: Api, job: Any, *lights: str) -> Any:
    body = {"occasion": "arrival", "warning_lights": list(lights)}
    return done(api.post(f"/jobs/{job['id']}/walk-rounds", body))


def test_red_lights_offer_the_finding_with_its_weight_and_others_do_not(scene: Scene) -> None:
    api, job = person_api(scene.valeter), arrived(scene)
    shown = lit(api, job, *RED, "service_due", "tyre_pressure")["findings_to_report"]
    assert {offer["light"]: (offer["phrase"], offer["area"]) for offer in shown} == RED
    for offer in shown:
        report = {"area": offer["area"], "phrase": offer["phrase"]}
        finding = done(api.post(f"/jobs/{job['id']}/findings", report))
        assert finding["weight"] == "do_not_drive"
    standing = done(api.get(f"/jobs/{job['id']}/walk-rounds"))
    assert standing["findings_to_report"] == []


def test_a_light_that_is_lit_again_after_the_repair_is_offered_again(scene: Scene) -> None:
    api, job = person_api(scene.valeter), arrived(scene)
    lit(api, job, "brakes")
    report = {"area": "brakes", "phrase": "brake_light_stays"}
    finding = done(api.post(f"/jobs/{job['id']}/findings", report))
    repaired = {"how": "repaired", "by": "Fennick Garage"}
    done(person_api(scene.manager).post(f"/findings/{finding['id']}/clear", repaired))
    standing = done(api.get(f"/jobs/{job['id']}/walk-rounds"))
    assert standing["findings_to_report"] == []
    assert [offer["light"] for offer in lit(api, job, "brakes")["findings_to_report"]] == ["brakes"]
    assert "Red light: brakes." in page(scene, job)


def test_the_newest_walk_round_decides_which_lights_are_on(scene: Scene) -> None:
    api, job = person_api(scene.valeter), arrived(scene)
    lit(api, job, "brakes")
    assert lit(api, job)["findings_to_report"] == []


def test_the_tablet_offers_the_finding_with_place_and_phrase_until_it_is_reported(
    scene: Scene,
) -> None:
    api, job = person_api(scene.valeter), arrived(scene)
    lit(api, job, "brakes", "lamp_failure")
    link = f"/tablet/cars/{job['id']}/finding?area=brakes&amp;phrase=brake_light_stays"
    html = api.client.get(f"/tablet/cars/{job['id']}").content.decode()
    assert html.count("Red light:") == 1
    assert f'href="{link}"' in html
    done(api.post(f"/jobs/{job['id']}/findings", {"area": "brakes", "phrase": "brake_light_stays"}))
    assert "Red light:" not in api.client.get(f"/tablet/cars/{job['id']}").content.decode()
