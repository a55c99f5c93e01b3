"""Parts and paint the dealer supplies: awaited, received, fitted or not used."""

from collections.abc import Callable
from datetime import timedelta
from typing import Any

import pytest

from core.clock import now
from jobs.work.models import SuppliedTick
from tests.api.steps import NOWHERE, arrived, done, fields, history, posted, refused, told
from tests.scene import Api, Scene, key_api, person_api

TRIM, PAINT = "Wheel trim", "Touch-in paint, 50 ml"


def tick(api: Api, job: Any, item: str = TRIM, state: str = "received", **more: Any) -> Any:
    return api.post(f"/jobs/{job['id']}/supplied", {"item": item, "state": state, **more})


def states(api: Api, job: Any) -> dict[str, str]:
    items = done(api.get(f"/jobs/{job['id']}/supplied"))["items"]
    return {item["item"]: item["state"] for item in items}


def test_what_nobody_ticked_is_awaited(scene: Scene) -> None:
    job = posted(scene.dealer_api(), supplied=[TRIM, PAINT])
    items = done(scene.dealer_api().get(f"/jobs/{job['id']}/supplied"))["items"]
    assert items == [
        {
            "item": item,
            "on_order": True,
            "state": "awaited",
            "note": "",
            "occurred_at": None,
            "actor": "",
        }
        for item in (TRIM, PAINT)
    ]


def test_an_order_without_supplies_lists_nothing(scene: Scene) -> None:
    assert states(scene.workshop_api(), arrived(scene)) == {}


def test_a_tick_is_shown_written_down_and_told(scene: Scene) -> None:
    job, tam = arrived(scene, supplied=[TRIM, PAINT]), person_api(scene.valeter)
    answer = done(tick(tam, job, TRIM, "fitted", note="Right rear."))
    assert (answer["item"], answer["state"], answer["note"]) == (TRIM, "fitted", "Right rear.")
    assert (answer["on_order"], answer["actor"]) == (True, "Tam Brackley")
    assert states(scene.dealer_api(), job) == {TRIM: "fitted", PAINT: "awaited"}
    entry = history(tam, job)[-1]
    assert (entry["kind"], entry["version"]) == ("supplied_ticked", job["version"])
    assert entry["data"] == {"item": TRIM, "state": "fitted", "note": "Right rear."}
    name, data = told(job)[-1]
    assert (name, data["item"], data["state"]) == ("supplied.ticked", TRIM, "fitted")


def test_ticking_again_changes_it_and_the_history_keeps_both(scene: Scene) -> None:
    job, tam = arrived(scene, supplied=[TRIM]), person_api(scene.valeter)
    done(tick(tam, job, TRIM, "received", note="In the boot."))
    done(tick(tam, job, TRIM, "not_used"))
    (item,) = done(tam.get(f"/jobs/{job['id']}/supplied"))["items"]
    assert (item["state"], item["note"]) == ("not_used", "")
    assert SuppliedTick.objects.count() == 1
    ticks = [
        entry["data"]["state"] for entry in history(tam, job) if entry["kind"] == "supplied_ticked"
    ]
    assert ticks == ["received", "not_used"]


def test_a_tick_told_late_undoes_no_newer_one(scene: Scene) -> None:
    job, tam = arrived(scene, supplied=[TRIM]), person_api(scene.valeter)
    done(tick(tam, job, TRIM, "fitted"))
    events = len(told(job))
    before = (now() - timedelta(hours=1)).isoformat()
    assert done(tick(tam, job, TRIM, "received", occurred_at=before))["state"] == "fitted"
    assert states(tam, job) == {TRIM: "fitted"}
    assert history(tam, job)[-1]["data"]["state"] == "received"
    assert len(told(job)) == events


def test_an_unknown_item_is_refused_with_those_there_are(scene: Scene) -> None:
    job, tam = arrived(scene, supplied=[TRIM, PAINT]), person_api(scene.valeter)
    problem = refused(tick(tam, job, "Wheel"), 400)
    (error,) = problem["errors"]
    assert error["field"] == "item"
    assert TRIM in error["message"]
    assert PAINT in error["message"]
    second_job = arrived(scene, dealer_ref="PX-2", registration="JX19 KLM")
    (error,) = refused(tick(tam, second_job), 400)["errors"]
    assert "nothing" in error["message"]
    assert not SuppliedTick.objects.exists()


def test_what_was_taken_off_the_order_is_still_shown_and_ticked(scene: Scene) -> None:
    job, tam = arrived(scene, supplied=[TRIM, PAINT]), person_api(scene.valeter)
    done(tick(tam, job, TRIM, "received"))
    done(scene.dealer_api().patch(f"/work-orders/{job['id']}", {"supplied": [PAINT]}))
    items = done(tam.get(f"/jobs/{job['id']}/supplied"))["items"]
    assert [(item["item"], item["on_order"], item["state"]) for item in items] == [
        (PAINT, True, "awaited"),
        (TRIM, False, "received"),
    ]
    answer = done(tick(tam, job, TRIM, "not_used"))
    assert (answer["on_order"], answer["state"]) == (False, "not_used")


def test_an_item_that_stands_twice_in_the_order_is_ticked_once(scene: Scene) -> None:
    job = arrived(scene, supplied=[TRIM, TRIM])
    done(tick(scene.workshop_api(), job))
    assert len(done(scene.workshop_api().get(f"/jobs/{job['id']}/supplied"))["items"]) == 1


def test_parts_may_come_before_the_car_and_outlast_a_cancelled_order(scene: Scene) -> None:
    dealer, tam = scene.dealer_api(), person_api(scene.valeter)
    job = posted(dealer, supplied=[TRIM])
    done(tick(tam, job))
    done(dealer.post(f"/work-orders/{job['id']}/cancel"))
    assert done(tick(tam, job, TRIM, "not_used"))["state"] == "not_used"


def test_nothing_is_ticked_once_the_car_was_collected(scene: Scene) -> None:
    job, tam = arrived(scene, supplied=[TRIM]), person_api(scene.valeter)
    done(tam.post(f"/jobs/{job['id']}/collection", {"reason": "Wanted back.", "confirm": True}))
    assert refused(tick(tam, job), 409)["code"] == "collected"


@pytest.mark.parametrize(
    ("body", "named"),
    [
        ({}, ["item", "state"]),
        ({"item": TRIM, "state": "awaited"}, ["state"]),
        ({"item": "", "state": "fitted"}, ["item"]),
        ({"item": TRIM, "state": "fitted", "note": "x" * 301}, ["note"]),
        ({"item": TRIM, "state": "lost", "why": "?"}, ["state", "why"]),
    ],
)
def test_a_tick_that_is_not_right_names_every_field(
    scene: Scene, body: dict[str, Any], named: list[str]
) -> None:
    job = arrived(scene, supplied=[TRIM])
    assert fields(scene.workshop_api().post(f"/jobs/{job['id']}/supplied", body)) == named


def test_strangers_find_nothing_and_dealers_do_not_tick(scene: Scene) -> None:
    job = arrived(scene, supplied=[TRIM])
    for organisation in (scene.stranger_workshop, scene.stranger_dealer):
        refused(key_api(organisation).get(f"/jobs/{job['id']}/supplied"), 404, "not-found")
    refused(tick(key_api(scene.stranger_workshop), job), 404, "not-found")
    refused(tick(scene.workshop_api(), {"id": NOWHERE}), 404, "not-found")
    refused(tick(scene.dealer_api(), job), 403, "not-allowed")
    assert not SuppliedTick.objects.exists()


def test_the_list_costs_the_same_however_many_items_there_are(
    scene: Scene, django_assert_num_queries: Callable[[int], Any]
) -> None:
    workshop = scene.workshop_api()
    for count in (1, 6):
        names = [f"Trim {number}" for number in range(count)]
        job = arrived(
            scene,
            supplied=names,
            dealer_ref=f"PX-{count}",
            registration=f"TU21 AB{'CDEFGH'[count - 1]}",
        )
        for name in names[:-1]:
            done(tick(workshop, job, name))
        workshop.get(f"/jobs/{job['id']}/supplied")
        with django_assert_num_queries(3):  # the key, the job, its ticks
            assert len(states(workshop, job)) == count
