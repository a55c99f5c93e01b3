"""A dealer changes what was ordered, before or during the work; the old values stay in history."""

from typing import Any

import pytest

from tests.api.steps import arrived, detail, done, fields, history, posted, ready, refused, told
from tests.scene import Scene, order, person_api


def states(scene: Scene, job: Any) -> dict[str, str]:
    """Return the state of the job's tasks by operation."""
    tasks = detail(scene.workshop_api(), job)["tasks"]
    return {task["operation"]: task["state"] for task in tasks}


def start(scene: Scene, job: Any, operation: str) -> None:
    tasks = detail(scene.workshop_api(), job)["tasks"]
    task = next(task for task in tasks if task["operation"] == operation)
    done(scene.workshop_api().post(f"/jobs/{job['id']}/tasks/{task['id']}/start"))


def test_only_what_is_sent_changes_and_the_old_value_is_kept_and_told(scene: Scene) -> None:
    dealer = scene.dealer_api()
    job = posted(dealer, colour="Slate", mileage=41250, cap_minutes=240)
    changes = {"colour": "Slate grey", "due_at": "2099-03-03T17:00:00+01:00"}
    changed = done(dealer.patch(f"/work-orders/{job['id']}", changes))
    assert (changed["colour"], changed["due_at"]) == ("Slate grey", "2099-03-03T16:00:00Z")
    unchanged = set(job) - {"colour", "due_at", "version", "updated_at"}
    assert {name: changed[name] for name in unchanged} == {name: job[name] for name in unchanged}
    assert changed["version"] == job["version"] + 1
    name, data = told(job)[-1]
    assert name == "work_order.changed"
    assert data["changes"] == [
        {"field": "colour", "was": "Slate", "now": "Slate grey"},
        {"field": "due_at", "was": None, "now": "2099-03-03T16:00:00Z"},
    ]
    entry = history(dealer, job)[-1]
    assert (entry["kind"], entry["data"]["changes"]) == ("changed", data["changes"])


def test_a_change_that_changes_nothing_leaves_no_trace(scene: Scene) -> None:
    dealer = scene.dealer_api()
    job = posted(dealer, colour="Slate", due_at="2099-03-03T16:00:00Z", cap_amount="80.00")
    same = {
        "colour": "Slate",
        "registration": "tu 21 abc",
        "due_at": "2099-03-03T17:00:00+01:00",
        "cap_amount": "80",
        "operations": ["wash_body", "vacuum"],
    }
    for changes in (same, {}, {"version": job["version"]}):
        assert done(dealer.patch(f"/work-orders/{job['id']}", changes)) == job
    assert len(history(dealer, job)) == 2
    assert len(told(job)) == 2


def test_a_change_of_scope_adds_tasks_and_drops_those_not_begun(scene: Scene) -> None:
    job = arrived(scene, operations=["wash_body", "vacuum", "glass"])
    start(scene, job, "wash_body")
    changes = {"operations": ["vacuum", "polish_one_stage"]}
    changed = done(scene.dealer_api().patch(f"/work-orders/{job['id']}", changes))
    assert states(scene, job) == {
        "wash_body": "started",
        "vacuum": "wanted",
        "glass": "dropped",
        "polish_one_stage": "wanted",
    }
    assert changed["remarks"] == [
        {"field": "operations", "message": "Wash and dry the body was begun already, so it stays."}
    ]
    again = {"operations": ["vacuum", "polish_one_stage", "glass"]}
    done(scene.dealer_api().patch(f"/work-orders/{job['id']}", again))
    glass = [
        task
        for task in detail(scene.workshop_api(), job)["tasks"]
        if task["name"].endswith("glass")
    ]
    assert [task["state"] for task in glass] == ["dropped", "wanted"]


def test_a_dropped_task_cannot_be_started(scene: Scene) -> None:
    job = arrived(scene, operations=["wash_body", "glass"])
    done(scene.dealer_api().patch(f"/work-orders/{job['id']}", {"operations": ["wash_body"]}))
    task = detail(scene.workshop_api(), job)["tasks"][1]
    answer = scene.workshop_api().post(f"/jobs/{job['id']}/tasks/{task['id']}/start")
    assert refused(answer, 409)["code"] == "dropped"


def test_work_the_workshop_added_is_not_dropped_by_a_change_of_the_order(scene: Scene) -> None:
    job = arrived(scene, operations=["wash_body"])
    done(scene.workshop_api().post(f"/jobs/{job['id']}/tasks", {"operation": "pet_hair"}))
    done(scene.dealer_api().patch(f"/work-orders/{job['id']}", {"operations": ["vacuum"]}))
    assert states(scene, job) == {
        "wash_body": "dropped",
        "pet_hair": "wanted",
        "vacuum": "wanted",
    }


def test_a_change_against_a_stale_version_is_refused_showing_the_present(scene: Scene) -> None:
    dealer, job = scene.dealer_api(), arrived(scene)
    path = f"/work-orders/{job['id']}"
    answer = dealer.patch(path, {"colour": "Red", "version": job["version"] - 1})
    problem = refused(answer, 409, "stale-version")
    assert problem["current"]["version"] == job["version"]
    assert [move["to"] for move in problem["allowed_moves"]] == ["cleaning", "correction"]
    changed = done(dealer.patch(path, {"colour": "Red", "version": job["version"]}))
    assert changed["colour"] == "Red"
    assert history(dealer, job)[-1]["made_against"] == job["version"]


@pytest.mark.parametrize(
    "changes",
    [{"dealer_ref": "PX-7"}, {"registration": "jx-19-klm"}, {"vin": "1G4AH59H45G118341"}],
)
def test_a_change_into_another_open_order_is_refused(scene: Scene, changes: dict[str, str]) -> None:
    dealer = scene.dealer_api()
    earlier = posted(dealer, dealer_ref="PX-7", registration="JX19 KLM", vin="1G4AH59H45G118341")
    job = posted(dealer)
    answer = dealer.patch(f"/work-orders/{job['id']}", changes)
    problem = refused(answer, 409, "duplicate-work-order")
    assert problem["existing_job_id"] == earlier["id"]
    assert problem["current"]["id"] == earlier["id"]
    assert detail(dealer, job)["registration"] == "TU21 ABC"
    assert len(history(dealer, job)) == 2


def test_neither_mark_nor_vin_cannot_be_left(scene: Scene) -> None:
    dealer, job = scene.dealer_api(), posted(scene.dealer_api())
    path = f"/work-orders/{job['id']}"
    assert fields(dealer.patch(path, {"registration": ""})) == ["registration"]
    vin = {"registration": "", "vin": "1G4AH59H45G118341"}
    assert done(dealer.patch(path, vin))["registration"] == ""
    assert fields(dealer.patch(path, {"vin": ""})) == ["registration"]


def test_a_change_of_the_mark_moves_the_order_to_the_new_one(scene: Scene) -> None:
    dealer, job = scene.dealer_api(), posted(scene.dealer_api())
    done(dealer.patch(f"/work-orders/{job['id']}", {"registration": "jx19klm"}))
    found = [
        done(dealer.get(f"/jobs?registration={mark}"))["results"]
        for mark in ("tu21abc", "JX19-KLM")
    ]
    assert [len(cars) for cars in found] == [0, 1]
    assert posted(dealer, dealer_ref="PX-2")["registration"] == "TU21 ABC"
    fields_changed = [change["field"] for change in history(dealer, job)[-1]["data"]["changes"]]
    assert fields_changed == ["registration"]


def test_remarks_are_looked_at_anew(scene: Scene) -> None:
    dealer = scene.dealer_api()
    job = posted(dealer, due_at="2020-01-01T09:00:00Z")
    assert [remark["field"] for remark in job["remarks"]] == ["due_at"]
    path = f"/work-orders/{job['id']}"
    assert done(dealer.patch(path, {"due_at": "2099-01-01T09:00:00Z"}))["remarks"] == []
    assert done(dealer.patch(path, {"due_at": None}))["due_at"] is None


def test_the_cap_stays_in_minutes_or_in_money_whatever_was_sent_before(scene: Scene) -> None:
    dealer = scene.dealer_api()
    job = posted(dealer, cap_minutes=240)
    path = f"/work-orders/{job['id']}"
    assert fields(dealer.patch(path, {"cap_amount": "80.00"})) == ["cap_minutes"]
    swapped = done(dealer.patch(path, {"cap_amount": "80.00", "cap_minutes": None}))
    assert (swapped["cap_amount"], swapped["cap_minutes"]) == ("80.00", None)


def test_an_amount_changed_alone_keeps_its_currency(scene: Scene) -> None:
    dealer = scene.dealer_api()
    job = posted(dealer, cap_amount="80.00", cap_currency="EUR")
    changed = done(dealer.patch(f"/work-orders/{job['id']}", {"cap_amount": "95.00"}))
    assert (changed["cap_amount"], changed["cap_currency"]) == ("95.00", "EUR")


def test_a_mileage_given_later_is_in_miles_like_one_given_at_once(scene: Scene) -> None:
    dealer = scene.dealer_api()
    job = posted(dealer)
    changed = done(dealer.patch(f"/work-orders/{job['id']}", {"mileage": 41250}))
    assert (changed["mileage"], changed["mileage_unit"]) == (41250, "miles")
    second_job = posted(
        dealer, dealer_ref="PX-2", registration="JX19 KLM", mileage=1, mileage_unit="km"
    )
    changed = done(dealer.patch(f"/work-orders/{second_job['id']}", {"mileage": 2}))
    assert (changed["mileage"], changed["mileage_unit"]) == (2, "km")


def test_an_order_does_not_change_its_workshop(scene: Scene) -> None:
    job = posted(scene.dealer_api())
    changes = {"workshop_id": str(scene.workshop.pk)}
    answer = scene.dealer_api().patch(f"/work-orders/{job['id']}", changes)
    assert fields(answer) == ["workshop_id"]


@pytest.mark.parametrize("end", ["cancelled", "collected"])
def test_a_closed_order_is_not_changed(scene: Scene, end: str) -> None:
    job = ready(scene)
    if end == "cancelled":
        done(scene.dealer_api().post(f"/work-orders/{job['id']}/cancel"))
    else:
        done(scene.workshop_api().post(f"/jobs/{job['id']}/collection", {"confirm": True}))
    answer = scene.dealer_api().patch(f"/work-orders/{job['id']}", {"colour": "Red"})
    assert refused(answer, 409)["code"] == end


def test_a_dealers_staff_may_change_an_order_and_are_named(scene: Scene) -> None:
    job = posted(scene.dealer_api())
    done(person_api(scene.staff).patch(f"/work-orders/{job['id']}", {"colour": "Red"}))
    assert history(scene.dealer_api(), job)[-1]["actor"] == "Ines Okafor-Lind"


def test_every_wrong_field_of_a_change_is_named_and_nothing_changes(scene: Scene) -> None:
    dealer, job = scene.dealer_api(), posted(scene.dealer_api())
    changes = {"colour": "Red", "mileage": "far", "paint": "Red", "operations": ["polish"]}
    answer = dealer.patch(f"/work-orders/{job['id']}", changes)
    assert sorted(fields(answer)) == ["mileage", "operations", "paint"]
    assert detail(dealer, job)["colour"] == ""
    assert order()["registration"] == detail(dealer, job)["registration"]
