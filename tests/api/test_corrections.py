"""A manager undoes a mistaken step: the record, the times and everybody told are put right."""

from datetime import datetime, timedelta
from typing import Any

import pytest
import time_machine

from core.clock import now
from jobs.work.calc.stages.machine import replay
from jobs.work.models import FlowCar, HistoryEntry, Job
from jobs.work.services.flow import flow_fill
from jobs.work.words.jobs.history import sentence
from notifications.models import Delivery, Event
from notifications.services.publish import events_publish
from tests.api.desk import signed_in, text_of
from tests.api.found import STOP, acknowledge, found
from tests.api.steps import (
    arrived,
    detail,
    done,
    fields,
    history,
    moved,
    posted,
    ready,
    refused,
    told,
)
from tests.scene import Api, Scene, order, person_api


def corrected(api: Api, job: Any, **more: Any) -> Any:
    version = Job.objects.get(pk=job["id"]).version
    return api.post(f"/jobs/{job['id']}/corrections", {"version": version, **more})


def collected(api: Api, job: Any, reason: str = "") -> Any:
    return done(api.post(f"/jobs/{job['id']}/collection", {"reason": reason, "confirm": True}))


def agrees(job: Any) -> bool:
    stored = Job.objects.get(pk=job["id"])
    return replay([entry.step for entry in stored.history.order_by("number")]) == stored.state


def test_a_move_to_ready_is_undone_as_history_and_not_as_rework(scene: Scene) -> None:
    manager, job = person_api(scene.manager), ready(scene)
    dealer = scene.dealer_api()
    assert [car["id"] for car in done(dealer.get("/ready"))["cars"]] == [job["id"]]
    assert FlowCar.objects.count() == 1
    after = done(corrected(manager, job, reason="Wrong car."))
    assert (after["stage"], after["rework_count"], after["ready_at"]) == ("cleaning", 0, None)
    assert after["version"] == job["version"] + 1
    assert done(dealer.get("/ready"))["cars"] == []
    assert FlowCar.objects.count() == 0
    entry = history(manager, job)[-1]
    assert (entry["kind"], entry["from_stage"], entry["to_stage"]) == (
        "corrected", "ready", "cleaning",
    )  # fmt: skip
    assert (entry["reason"], entry["actor"]) == ("Wrong car.", "Milo Treen")
    assert agrees(job)
    last = HistoryEntry.objects.get(job_id=job["id"], kind="corrected")
    assert sentence(last) == (
        "Corrected by a manager: it was not moved to ready, it is in cleaning. Wrong car."
    )


def test_whoever_was_told_that_it_is_ready_is_told_that_it_is_not(scene: Scene) -> None:
    dealer = scene.dealer_api()
    for name, types in (("ready", ["job.ready"]), ("gone", ["job.collected"]), ("all", [])):
        body = {"url": f"http://127.0.0.1:9/{name}", "event_types": types}
        done(dealer.post("/webhook-endpoints", body))
    job = ready(scene)
    done(corrected(person_api(scene.manager), job))
    events_publish()
    name, data = told(job)[-1]
    assert (name, data["undid"]) == ("job.corrected", "moved")
    assert data["headline"] == "Correction: it is not ready; it is in cleaning."
    reached = Delivery.objects.filter(event__type="job.corrected")
    assert {delivery.endpoint.address.rpartition("/")[2] for delivery in reached} == {
        "ready",
        "all",
    }
    moved(scene.workshop_api(), detail(dealer, job), "ready")
    collected(scene.workshop_api(), job)
    done(corrected(person_api(scene.manager), job))
    events_publish()
    last = Event.objects.filter(type="job.corrected").order_by("number").last()
    reached = Delivery.objects.filter(event=last)
    assert {delivery.endpoint.address.rpartition("/")[2] for delivery in reached} == {"gone", "all"}


def test_a_collection_is_undone_and_the_car_is_ready_again(scene: Scene) -> None:
    manager, job = person_api(scene.manager), ready(scene)
    since = detail(manager, job)["ready_at"]
    collected(manager, job)
    after = done(corrected(manager, job))
    assert (after["stage"], after["collected_at"], after["is_open"]) == ("ready", None, True)
    assert after["ready_at"] == since
    assert [car["id"] for car in done(scene.dealer_api().get("/ready"))["cars"]] == [job["id"]]
    assert FlowCar.objects.get().ready_at == datetime.fromisoformat(since)
    assert agrees(job)
    collected(manager, job)
    assert agrees(job)


def test_step_by_step_back_to_a_car_that_has_not_come(scene: Scene) -> None:
    manager, job = person_api(scene.manager), ready(scene)
    collected(manager, job)
    stages = []
    for _ in range(4):
        after = done(corrected(manager, job))
        stages.append((after["stage"], after["arrived_at"] is not None))
        assert agrees(job)
    assert stages == [("ready", True), ("cleaning", True), ("intake", True), ("intake", False)]
    assert refused(corrected(manager, job), 409)["code"] == "nothing_to_undo"
    done(manager.post(f"/jobs/{job['id']}/arrival"))
    assert moved(manager, detail(manager, job), "cleaning")["stage"] == "cleaning"
    assert done(corrected(manager, job))["stage"] == "intake"
    assert agrees(job)


def test_going_back_by_mistake_is_undone_with_its_rework_and_the_time_it_was_ready(
    scene: Scene,
) -> None:
    manager, job = person_api(scene.manager), ready(scene)
    since = detail(manager, job)["ready_at"]
    with time_machine.travel(now() + timedelta(hours=2)):
        for _ in range(2):
            back = moved(manager, detail(manager, job), "cleaning")
            assert (back["rework_count"], back["ready_at"]) == (1, None)
            after = done(corrected(manager, job))
            assert (after["stage"], after["rework_count"]) == ("ready", 0)
            assert after["ready_at"] == since
            assert FlowCar.objects.get().rework_count == 0
            assert agrees(job)
        assert flow_fill(limit=10) == 0


def test_the_time_counts_where_the_car_really_was(scene: Scene) -> None:
    manager, job = person_api(scene.manager), ready(scene)
    start = now()
    with time_machine.travel(start + timedelta(hours=3), tick=False):
        done(corrected(manager, job))
    with time_machine.travel(start + timedelta(hours=4), tick=False):
        moved(manager, detail(manager, job), "ready")
    kept = FlowCar.objects.get()
    assert kept.lead_seconds >= 4 * 3600
    assert kept.ready_nobody_on_it == 0
    assert kept.cleaning_nobody_on_it >= 4 * 3600


@pytest.mark.parametrize("who", ["valeter", "staff"])
def test_only_managers_correct(scene: Scene, who: str) -> None:
    job = ready(scene)
    refused(corrected(person_api(getattr(scene, who)), job), 403)
    assert detail(scene.workshop_api(), job)["stage"] == "ready"


def test_tapped_twice_it_undoes_one_step(scene: Scene) -> None:
    manager, job = person_api(scene.manager), ready(scene)
    body = {"version": job["version"]}
    done(manager.post(f"/jobs/{job['id']}/corrections", body))
    problem = refused(manager.post(f"/jobs/{job['id']}/corrections", body), 409, "stale-version")
    assert problem["current"]["stage"] == "cleaning"
    assert fields(manager.post(f"/jobs/{job['id']}/corrections", {})) == ["version"]


def test_an_arrival_is_not_undone_once_the_car_was_worked_on(scene: Scene) -> None:
    manager, job = person_api(scene.manager), arrived(scene)
    task = detail(manager, job)["tasks"][0]
    done(manager.post(f"/jobs/{job['id']}/tasks/{task['id']}/start"))
    assert refused(corrected(manager, job), 409)["code"] == "noted_since"


def test_a_collection_is_not_undone_once_the_car_was_sent_again(scene: Scene) -> None:
    manager, job = person_api(scene.manager), ready(scene)
    collected(manager, job)
    posted(scene.dealer_api())
    assert refused(corrected(manager, job), 409)["code"] == "ordered_again"


def test_a_cancelled_orders_moves_stay_and_its_collection_can_be_undone(scene: Scene) -> None:
    manager, job = person_api(scene.manager), ready(scene)
    done(scene.dealer_api().post(f"/work-orders/{job['id']}/cancel"))
    assert refused(corrected(manager, job), 409)["code"] == "cancelled"
    collected(manager, job)
    after = done(corrected(manager, job))
    assert (after["collected_at"], after["is_open"]) == (None, False)
    assert agrees(job)


def test_a_danger_found_or_a_change_since_does_not_stand_in_the_way(scene: Scene) -> None:
    manager, job = person_api(scene.manager), ready(scene)
    done(acknowledge(scene.dealer_api(), found(manager, job, STOP)))
    done(scene.dealer_api().patch(f"/work-orders/{job['id']}", {"notes": "By Friday."}))
    after = done(corrected(manager, job))
    assert (after["stage"], after["on_hold"], after["do_not_drive"]) == ("cleaning", True, True)
    assert agrees(job)


def test_an_order_nobody_worked_on_has_nothing_to_undo(scene: Scene) -> None:
    job = done(scene.dealer_api().post("/work-orders", order()))
    problem = refused(corrected(person_api(scene.manager), job), 409)
    assert problem["code"] == "nothing_to_undo"


@pytest.mark.parametrize("who", ["manager", "owner"])
def test_the_desk_offers_it_by_its_name_and_does_it(scene: Scene, who: str) -> None:
    job = ready(scene)
    desk = signed_in(getattr(scene, who))
    path = f"/desk/cars/{job['id']}"
    assert "Undo the move to ready" in text_of(desk.get(path))
    assert "Moved from cleaning to ready." in text_of(desk.get(f"{path}/correction"))
    typed = {"version": job["version"], "reason": "Wrong car."}
    page = text_of(desk.post(f"{path}/correction", typed, follow=True))
    assert "is put right: it is in cleaning." in page
    assert "Undo the move to cleaning" in page
    stale = text_of(desk.post(f"{path}/correction", typed), 409)
    assert "Undo the move to cleaning" in stale
    assert Job.objects.get().stage == "cleaning"


def test_the_desk_undoes_a_collection_and_says_why_it_cannot(scene: Scene) -> None:
    job = ready(scene)
    desk, path = signed_in(scene.manager), f"/desk/cars/{job['id']}"
    collected(scene.workshop_api(), job)
    assert "Undo the collection" in text_of(desk.get(path))
    posted(scene.dealer_api())
    assert "Undo the" not in text_of(desk.get(path))
    assert "sent another order" in text_of(desk.get(f"{path}/correction"))


def test_the_tablet_offers_it_to_managers_alone(scene: Scene) -> None:
    job = ready(scene)
    for who, times in (("valeter", 0), ("manager", 1), ("owner", 1)):
        page = signed_in(getattr(scene, who)).get(f"/tablet/cars/{job['id']}").content.decode()
        assert page.count('data-kind="correct"') == times
    collected(scene.workshop_api(), job)
    page = signed_in(scene.manager).get(f"/tablet/cars/{job['id']}").content.decode()
    assert "Undo the collection" in page
