"""Walk-rounds: what the car was like when it came and when it left."""

from datetime import timedelta
from typing import Any

import pytest
from pytest_django import DjangoAssertNumQueries

from core.clock import now
from jobs.work.services import walk_rounds as service
from tests.api.found import photo
from tests.api.steps import NOWHERE, arrived, done, fields, history, posted, refused, told
from tests.scene import Api, Scene, key_api, person_api

CAME = {
    "occasion": "arrival",
    "mileage": 41250,
    "mileage_unit": "miles",
    "fuel_percent": 50,
    "charge_percent": None,
    "keys_count": 2,
    "warning_lights": ["engine"],
    "items": {"locking_wheel_key": "present", "load_cover": "present", "mats": "absent"},
    "damage": [{"area": "left_rear_door", "noticed": "A dent below the handle.", "photo_ids": []}],
    "notes": "Very muddy.",
}
LEFT = {
    **CAME,
    "occasion": "leaving",
    "mileage": 41253,
    "fuel_percent": 45,
    "keys_count": 1,
    "warning_lights": ["engine", "tyre_pressure"],
    "items": {"locking_wheel_key": "present", "load_cover": "absent"},
    "damage": [
        {"area": "left_rear_door", "noticed": "Dent.", "photo_ids": []},
        {"area": "right_front_wing", "noticed": "Scratched.", "photo_ids": []},
    ],
    "notes": "",
}
DIFFERENCES = [
    "The mileage grew by 3 miles.",
    "Fuel fell from 50 % to 45 %.",
    "The keys were 2 on arrival and are 1 on leaving.",
    "New warning light: tyre pressure.",
    "Load cover or parcel shelf: here on arrival, not here now.",
    "Damage that was not noted on arrival, right front wing: Scratched.",
]


def walk(api: Api, job: Any, body: Any = CAME, **more: Any) -> Any:
    return api.post(f"/jobs/{job['id']}/walk-rounds", {**body, **more})


def standing(api: Api, job: Any) -> Any:
    return done(api.get(f"/jobs/{job['id']}/walk-rounds"))


def texts(shown: Any) -> list[str]:
    return [difference["text"] for difference in shown["differences"]]


def test_the_car_is_recorded_as_it_came(scene: Scene) -> None:
    workshop, job = person_api(scene.valeter), arrived(scene)
    picture = photo(job)
    damage = [{**CAME["damage"][0], "photo_ids": [picture]}]  # type: ignore[index]
    answer = walk(workshop, job, damage=damage)
    assert answer.status_code == 201
    shown = done(answer)
    arrival = shown["arrival"]
    same = [name for name in CAME if name != "damage"]
    assert {name: arrival[name] for name in same} == {name: CAME[name] for name in same}
    (dent,) = arrival["damage"]
    assert (dent["area"], dent["area_name"]) == ("left_rear_door", "left rear or sliding door")
    assert [image["id"] for image in dent["pictures"]] == [picture]
    assert set(dent["pictures"][0]["links"]) == {"320", "1280"}
    assert arrival["actor"] == "Tam Brackley"
    assert (shown["leaving"], shown["earlier"], shown["differences"]) == (None, [], [])
    assert standing(scene.dealer_api(), job) == standing(workshop, job) == shown
    name, data = told(job)[-1]
    assert (name, data["occasion"], data["mileage"]) == ("walk_round.recorded", "arrival", 41250)
    assert data["absent_items"] == ["mats"]
    assert data["damage"] == [{"area": "left_rear_door", "noticed": "A dent below the handle."}]
    assert data["differences"] == []
    entry = history(workshop, job)[-1]
    assert (entry["kind"], entry["data"]["occasion"]) == ("walked_round", "arrival")


def test_on_leaving_the_differences_are_shown_and_told(scene: Scene) -> None:
    workshop, job = scene.workshop_api(), arrived(scene)
    done(walk(workshop, job))
    shown = done(walk(workshop, job, LEFT))
    assert texts(shown) == DIFFERENCES
    assert [difference["about"] for difference in shown["differences"]] == [
        "mileage",
        "fuel_percent",
        "keys_count",
        "warning_lights",
        "items",
        "damage",
    ]
    _, data = told(job)[-1]
    assert data["differences"] == DIFFERENCES
    assert history(workshop, job)[-1]["data"]["differences"] == DIFFERENCES


def test_a_later_one_corrects_and_the_earlier_stays(scene: Scene) -> None:
    workshop, job = scene.workshop_api(), arrived(scene)
    first = done(walk(workshop, job, LEFT))["leaving"]
    done(walk(workshop, job, mileage=41253, keys_count=1))
    assert told(job)[-1][1]["differences"] == []  # told on leaving only
    second = done(walk(workshop, job, LEFT, mileage=41254))
    assert second["leaving"]["mileage"] == 41254
    assert second["earlier"] == [first]
    assert texts(second)[0] == "The mileage grew by 1 mile."
    assert "The keys" not in str(texts(second))
    kinds = [entry["kind"] for entry in history(workshop, job)]
    assert kinds.count("walked_round") == 3


def test_what_was_not_looked_at_is_null_and_is_not_compared(scene: Scene) -> None:
    workshop, job = scene.workshop_api(), arrived(scene)
    done(walk(workshop, job, {"occasion": "arrival"}))
    shown = done(walk(workshop, job, {"occasion": "leaving", "mileage": 5}))
    assert shown["arrival"]["mileage"] is None
    assert shown["arrival"]["mileage_unit"] == ""
    assert shown["leaving"]["mileage_unit"] == "miles"
    assert shown["differences"] == []


def test_the_unit_is_the_orders_and_units_are_converted(scene: Scene) -> None:
    workshop = scene.workshop_api()
    job = arrived(scene, mileage=66385, mileage_unit="km")
    done(walk(workshop, job, {"occasion": "arrival", "mileage": 66385}))
    shown = done(walk(workshop, job, LEFT, mileage=41260))
    assert shown["arrival"]["mileage_unit"] == "km"
    # 41,260 miles are 66,401.5 km: International Yard and Pound Agreement, 1959.
    assert texts(shown)[0] == "The mileage grew by 17 km."


def test_a_mileage_that_fell_or_is_far_below_the_order_is_remarked_never_refused(
    scene: Scene,
) -> None:
    workshop = scene.workshop_api()
    job = arrived(scene, mileage=90000, mileage_unit="miles")
    shown = done(walk(workshop, job))
    (remark,) = shown["remarks"]
    assert "41250 miles" in remark
    assert "90000 miles" in remark
    fell = texts(done(walk(workshop, job, LEFT, mileage=41200)))[0]
    assert fell == "The mileage fell by 50 miles, which cannot be: check both figures."


def test_it_is_walked_round_while_it_is_here(scene: Scene) -> None:
    workshop, job = scene.workshop_api(), posted(scene.dealer_api())
    assert refused(walk(workshop, job), 409)["code"] == "not_arrived"
    done(workshop.post(f"/jobs/{job['id']}/arrival"))
    done(scene.dealer_api().post(f"/work-orders/{job['id']}/cancel"))
    done(walk(workshop, job, LEFT))
    done(workshop.post(f"/jobs/{job['id']}/collection", {"confirm": True}))
    assert refused(walk(workshop, job), 409)["code"] == "collected"


def test_every_wrong_field_is_named_at_once(scene: Scene) -> None:
    workshop, job = scene.workshop_api(), arrived(scene)
    wrong = {
        "occasion": "lunch",
        "mileage": -1,
        "mileage_unit": "leagues",
        "fuel_percent": 101,
        "charge_percent": "full",
        "keys_count": 21,
        "warning_lights": ["disco"],
        "items": {"spare_wheel": "perhaps"},
        "damage": [{"area": "left_fender_badge", "noticed": ""}],
        "notes": "x" * 1001,
        "occurred_at": (now() + timedelta(hours=1)).isoformat(),
        "weather": "wet",
    }
    named = {name.split(".")[0] for name in fields(walk(workshop, job, wrong))}
    assert named == set(wrong)
    answer = walk(workshop, job, items={"spare_weel": "present", "mats": "present"})
    assert fields(answer) == ["items"]
    assert "spare_weel" in answer.json()["detail"]
    assert fields(walk(workshop, job, {})) == ["occasion"]


def test_a_photograph_of_another_job_is_refused(scene: Scene) -> None:
    workshop, job = scene.workshop_api(), arrived(scene)
    second_job = arrived(scene, dealer_ref="PX-2", registration="JX19 KLM")
    for foreign in (photo(second_job), NOWHERE):
        damage = [{"area": "roof", "noticed": "A dent.", "photo_ids": [foreign]}]
        assert fields(walk(workshop, job, damage=damage)) == ["photo_ids"]
    assert standing(workshop, job)["arrival"] is None


def test_a_job_has_room_for_so_many(scene: Scene, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(service, "MOST_WALK_ROUNDS", 2)
    workshop, job = scene.workshop_api(), arrived(scene)
    for _ in range(2):
        done(walk(workshop, job))
    assert refused(walk(workshop, job), 409)["code"] == "too_many"


def test_strangers_see_none(scene: Scene) -> None:
    job = arrived(scene)
    done(walk(scene.workshop_api(), job))
    for stranger in (key_api(scene.stranger_dealer), key_api(scene.stranger_workshop)):
        refused(stranger.get(f"/jobs/{job['id']}/walk-rounds"), 404)


def test_reading_costs_the_same_however_much_was_recorded(
    scene: Scene, django_assert_num_queries: DjangoAssertNumQueries
) -> None:
    workshop, job = scene.workshop_api(), arrived(scene)
    standing(workshop, job)  # the first use of a key in a minute is noted
    for _ in range(3):
        damage = [{"area": "roof", "noticed": "A dent.", "photo_ids": [photo(job), photo(job)]}]
        done(walk(workshop, job, damage=damage))
        # the key; the job, its walk-rounds, their photographs and what is stored of each
        with django_assert_num_queries(5):
            standing(workshop, job)


def test_the_lists_to_choose_from_are_public(scene: Scene) -> None:
    shown = done(key_api(scene.stranger_dealer).get("/walk-round-items"))
    items = {item["code"]: item["name"] for item in shown["items"]}
    lights = {light["code"] for light in shown["warning_lights"]}
    assert items["locking_wheel_key"] == "key of the locking wheel bolts"
    assert {"spare_wheel", "load_cover", "charging_cable", "service_record"} <= set(items)
    assert {"engine", "airbag", "tyre_pressure", "other"} <= lights


def test_a_mileage_without_a_unit_counts_as_the_car_was_last_read(scene: Scene) -> None:
    """The order's unit is what the dealer's system counts in, not what this car shows."""
    workshop, job = scene.workshop_api(), arrived(scene)
    done(walk(workshop, job, mileage=66000, mileage_unit="km"))
    left = {key: value for key, value in LEFT.items() if key != "mileage_unit"}
    found = done(walk(workshop, job, left, mileage=66003))
    assert found["leaving"]["mileage_unit"] == "km"
    assert texts(found)[0] == "The mileage grew by 3 km."
