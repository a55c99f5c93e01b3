"""Ready, or gone, with something open: asked once, with the counts, and kept in the history."""

from typing import Any

import pytest

from tests.api.found import found
from tests.api.steps import arrived, detail, done, history, moved, refused
from tests.scene import Scene

CODES = ["wash_body", "vacuum", "glass", "wheels_and_arches", "interior_wipe"]
STOP = {"kind": "mechanical", "weight": "do_not_drive", "area": "brakes",
        "noticed": "The brake pedal sinks under a steady foot."}  # fmt: skip
OUT = {"occasion": "leaving"}


@pytest.fixture
def job(scene: Scene) -> Any:
    """Return a car in cleaning with five tasks, one of them done."""
    codes = [
        operation["code"]
        for operation in done(scene.workshop_api().get("/operations"))["operations"]
    ]
    chosen = [code for code in CODES if code in codes]
    chosen += [code for code in codes if code not in chosen][: 5 - len(chosen)]
    car = moved(scene.workshop_api(), arrived(scene, operations=chosen), "cleaning")
    tasks = detail(scene.workshop_api(), car)["tasks"]
    assert len(tasks) == 5
    finish(scene, car, tasks[:1])
    return car


def finish(scene: Scene, job: Any, tasks: list[Any]) -> None:
    for task in tasks:
        for step in ("start", "finish"):
            done(scene.workshop_api().post(f"/jobs/{job['id']}/tasks/{task['id']}/{step}"))


def to_ready(scene: Scene, job: Any, **more: Any) -> Any:
    body = {"to": "ready", "version": detail(scene.workshop_api(), job)["version"], **more}
    return scene.workshop_api().post(f"/jobs/{job['id']}/moves", body)


def collect(scene: Scene, job: Any, **more: Any) -> Any:
    return scene.workshop_api().post(f"/jobs/{job['id']}/collection", more)


def test_ready_with_tasks_open_is_asked_once_with_the_count(scene: Scene, job: Any) -> None:
    problem = refused(to_ready(scene, job), 409, "confirmation-needed")
    assert problem["detail"] == "4 of 5 tasks are open."
    assert (problem["tasks_open"], problem["tasks"]) == (4, 5)
    assert problem["open"] == [{"code": "tasks_open", "text": "4 of 5 tasks are open."}]
    assert "`confirm`: true" in problem["next_step"]
    assert problem["current"]["stage"] == "cleaning"
    refused(to_ready(scene, job, confirm=False), 409, "confirmation-needed")
    assert done(to_ready(scene, job, confirm=True))["stage"] == "ready"
    data = history(scene.workshop_api(), job)[-1]["data"]
    assert (data["confirmed"], data["tasks_open"], data["tasks"]) == (["tasks_open"], 4, 5)


def test_ready_with_all_done_is_not_asked_and_says_nothing_of_it(scene: Scene, job: Any) -> None:
    finish(scene, job, detail(scene.workshop_api(), job)["tasks"][1:])
    waits = detail(scene.workshop_api(), job)["clocks"]
    reason = {"override": True, "reason": "Dry."} if waits else {}
    api = scene.workshop_api()
    body = {"to": "ready", "version": detail(api, job)["version"], **reason}
    assert done(api.post(f"/jobs/{job['id']}/moves", body))["stage"] == "ready"
    assert "confirmed" not in history(api, job)[-1]["data"]


def test_a_move_elsewhere_is_not_asked_about(scene: Scene, job: Any) -> None:
    assert moved(scene.workshop_api(), job, "correction")["stage"] == "correction"
    version = detail(scene.workshop_api(), job)["version"]
    body = {"to": "curing", "version": version}
    assert done(scene.workshop_api().post(f"/jobs/{job['id']}/moves", body))["stage"] == "curing"


def test_a_stale_version_and_a_hold_are_said_before_anything_is_asked(
    scene: Scene, job: Any
) -> None:
    body = {"to": "ready", "version": 1}
    stale = scene.workshop_api().post(f"/jobs/{job['id']}/moves", body)
    refused(stale, 409, "stale-version")
    done(scene.workshop_api().post(f"/jobs/{job['id']}/holds", {"cause": "parts"}))
    assert refused(to_ready(scene, job), 409, "refused")["code"] == "held"


def test_collected_with_tasks_or_the_walk_round_open_is_asked_reason_or_not(
    scene: Scene, job: Any
) -> None:
    done(to_ready(scene, job, confirm=True))
    problem = refused(collect(scene, job), 409, "confirmation-needed")
    codes = [matter["code"] for matter in problem["open"]]
    assert codes == ["tasks_open", "leaving_not_recorded"]
    refused(collect(scene, job, reason="It is wanted."), 409, "confirmation-needed")
    done(scene.workshop_api().post(f"/jobs/{job['id']}/walk-rounds", OUT))
    problem = refused(collect(scene, job), 409, "confirmation-needed")
    assert [matter["code"] for matter in problem["open"]] == ["tasks_open"]
    assert done(collect(scene, job, confirm=True))["collected_at"]
    assert history(scene.workshop_api(), job)[-1]["data"]["confirmed"] == ["tasks_open"]


def test_collected_with_a_do_not_drive_that_is_only_known_is_asked_about(scene: Scene) -> None:
    job = arrived(scene)
    finding = found(scene.workshop_api(), job, STOP)
    said = refused(collect(scene, job, confirm=True), 409, "refused")
    assert said["code"] == "not_acknowledged"  # that still wants a reason
    done(scene.dealer_api().post(f"/findings/{finding['id']}/acknowledge"))
    problem = refused(collect(scene, job, reason="On a trailer."), 409, "confirmation-needed")
    assert problem["open"][0]["code"] == "do_not_drive"
    gone = done(collect(scene, job, reason="On a trailer.", confirm=True))
    assert gone["collected_at"]
    assert "do_not_drive" in history(scene.workshop_api(), job)[-1]["data"]["confirmed"]


def test_of_a_cancelled_order_no_task_is_asked_about(scene: Scene, job: Any) -> None:
    done(scene.dealer_api().post(f"/work-orders/{job['id']}/cancel", {"reason": "Sold."}))
    problem = refused(collect(scene, job), 409, "confirmation-needed")
    assert [matter["code"] for matter in problem["open"]] == ["leaving_not_recorded"]


def test_confirm_is_yes_or_no(scene: Scene, job: Any) -> None:
    problem = refused(to_ready(scene, job, confirm="perhaps"), 400)
    assert [error["field"] for error in problem["errors"]] == ["confirm"]
