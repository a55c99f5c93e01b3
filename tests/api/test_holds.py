"""Holds: the job waits, nothing moves, and its working clock stands still."""

from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
import time_machine

from core.clock import now
from tests.api.steps import (
    NOWHERE,
    arrived,
    detail,
    done,
    fields,
    history,
    moved,
    posted,
    refused,
    told,
)
from tests.scene import Api, Scene

NINE = datetime(2027, 3, 1, 9, 0, tzinfo=UTC)


def hold(api: Api, job: Any, cause: str = "parts", **more: Any) -> Any:
    return api.post(f"/jobs/{job['id']}/holds", {"cause": cause, **more})


def release(api: Api, job: Any, hold_id: str, **more: Any) -> Any:
    return api.post(f"/jobs/{job['id']}/holds/{hold_id}/release", more)


def open_holds(api: Api, job: Any) -> list[str]:
    return [held["id"] for held in detail(api, job)["holds"] if held["ended_at"] is None]


@pytest.mark.parametrize("cause", ["decision", "parts", "weather", "drying"])
def test_a_hold_is_written_down_and_told_and_so_is_its_end(scene: Scene, cause: str) -> None:
    workshop, job = scene.workshop_api(), arrived(scene)
    answer = hold(workshop, job, cause, reason="Wheel trim to come.", version=job["version"])
    assert answer.status_code == 201
    assert (answer.json()["on_hold"], answer.json()["version"]) == (True, job["version"] + 1)
    (hold_id,) = open_holds(workshop, job)
    name, data = told(job)[-1]
    assert (name, data["hold_id"], data["cause"], data["reason"]) == (
        "job.held",
        hold_id,
        cause,
        "Wheel trim to come.",
    )
    freed = done(release(workshop, job, hold_id, reason="It came."))
    assert (freed["on_hold"], freed["version"]) == (False, job["version"] + 2)
    name, data = told(job)[-1]
    assert (name, data["hold_id"], data["cause"]) == ("job.released", hold_id, cause)
    entries = history(workshop, job)[-2:]
    assert [(entry["kind"], entry["data"]["hold_id"]) for entry in entries] == [
        ("held", hold_id),
        ("released", hold_id),
    ]
    assert detail(workshop, job)["holds"][0]["ended_at"] is not None


def test_a_held_job_goes_nowhere_until_every_hold_is_released(scene: Scene) -> None:
    workshop, job = scene.workshop_api(), arrived(scene)
    done(hold(workshop, job, "parts"))
    held = done(hold(workshop, job, "weather"))
    assert held["allowed_moves"] == []
    for still in (2, 1):
        assert len(open_holds(workshop, job)) == still
        version = detail(workshop, job)["version"]
        answer = workshop.post(f"/jobs/{job['id']}/moves", {"to": "cleaning", "version": version})
        problem = refused(answer, 409, "refused")
        assert problem["code"] == "held"
        assert problem["current"]["on_hold"] is True
        done(release(workshop, job, open_holds(workshop, job)[0]))
    assert moved(workshop, detail(workshop, job), "cleaning")["stage"] == "cleaning"


def test_no_task_is_started_while_the_job_is_held(scene: Scene) -> None:
    workshop, job = scene.workshop_api(), arrived(scene)
    done(hold(workshop, job))
    task = detail(workshop, job)["tasks"][0]
    answer = workshop.post(f"/jobs/{job['id']}/tasks/{task['id']}/start")
    assert refused(answer, 409)["code"] == "held"


def test_a_hold_ends_once_and_not_before_it_began(scene: Scene) -> None:
    workshop, job = scene.workshop_api(), arrived(scene)
    done(hold(workshop, job))
    (hold_id,) = open_holds(workshop, job)
    before = (now() - timedelta(hours=1)).isoformat()
    assert fields(release(workshop, job, hold_id, occurred_at=before)) == ["occurred_at"]
    done(release(workshop, job, hold_id))
    assert refused(release(workshop, job, hold_id), 409)["code"] == "released"


def test_a_hold_of_another_job_or_of_none_is_not_found(scene: Scene) -> None:
    workshop, job = scene.workshop_api(), arrived(scene)
    second_job = arrived(scene, dealer_ref="PX-2", registration="JX19 KLM")
    done(hold(workshop, second_job))
    (foreign,) = open_holds(workshop, second_job)
    for hold_id in (foreign, NOWHERE):
        refused(release(workshop, job, hold_id), 404, "not-found")
    assert open_holds(workshop, second_job) == [foreign]


def test_a_job_whose_car_has_not_come_cannot_be_held(scene: Scene) -> None:
    job = posted(scene.dealer_api())
    assert refused(hold(scene.workshop_api(), job), 409)["code"] == "not_arrived"


def test_a_stale_version_is_refused_for_a_hold_and_for_its_end(scene: Scene) -> None:
    workshop, job = scene.workshop_api(), arrived(scene)
    refused(hold(workshop, job, version=job["version"] - 1), 409, "stale-version")
    done(hold(workshop, job))
    (hold_id,) = open_holds(workshop, job)
    refused(release(workshop, job, hold_id, version=job["version"]), 409, "stale-version")
    assert open_holds(workshop, job) == [hold_id]


@pytest.mark.parametrize("cause", ["", "lunch", None, 1, ["parts"]])
def test_an_unknown_cause_is_refused(scene: Scene, cause: Any) -> None:
    job = arrived(scene)
    answer = scene.workshop_api().post(f"/jobs/{job['id']}/holds", {"cause": cause})
    assert fields(answer) == ["cause"]


def test_a_hold_that_outlasts_the_order_can_still_be_ended(scene: Scene) -> None:
    workshop, job = scene.workshop_api(), arrived(scene)
    done(hold(workshop, job, "decision"))
    done(scene.dealer_api().post(f"/work-orders/{job['id']}/cancel"))
    (hold_id,) = open_holds(workshop, job)
    assert done(release(workshop, job, hold_id))["on_hold"] is False


def test_a_hold_stops_the_working_clock(scene: Scene) -> None:
    workshop = scene.workshop_api()
    with time_machine.travel(NINE, tick=False) as clock:
        job = moved(workshop, arrived(scene, operations=["wash_body"]), "cleaning")
        (task,) = detail(workshop, job)["tasks"]
        path = f"/jobs/{job['id']}/tasks/{task['id']}"
        done(workshop.post(f"{path}/start"))
        clock.shift(timedelta(minutes=10))
        done(hold(workshop, job, "parts"))
        clock.shift(timedelta(minutes=20))
        done(hold(workshop, job, "weather"))
        first, second = open_holds(workshop, job)
        clock.shift(timedelta(minutes=30))
        done(release(workshop, job, first))
        clock.shift(timedelta(minutes=5))
        done(release(workshop, job, second))
        clock.shift(timedelta(minutes=15))
        finished = done(workshop.post(f"{path}/finish"))
    # 80 minutes by the clock on the wall, 55 of them held: 25 of work.
    assert finished["actual_minutes"] == 25


def test_a_hold_that_still_lasts_counts_up_to_the_end_of_the_work(scene: Scene) -> None:
    workshop = scene.workshop_api()
    with time_machine.travel(NINE, tick=False) as clock:
        job = moved(workshop, arrived(scene, operations=["wash_body"]), "cleaning")
        (task,) = detail(workshop, job)["tasks"]
        path = f"/jobs/{job['id']}/tasks/{task['id']}"
        done(workshop.post(f"{path}/start"))
        clock.shift(timedelta(minutes=12))
        done(hold(workshop, job, "parts"))
        clock.shift(timedelta(minutes=40))
        assert done(workshop.post(f"{path}/finish"))["actual_minutes"] == 12


def test_a_hold_told_of_late_is_taken_out_of_work_that_is_done(scene: Scene) -> None:
    workshop = scene.workshop_api()
    with time_machine.travel(NINE, tick=False) as clock:
        job = moved(workshop, arrived(scene, operations=["wash_body"]), "cleaning")
        (task,) = detail(workshop, job)["tasks"]
        path = f"/jobs/{job['id']}/tasks/{task['id']}"
        done(workshop.post(f"{path}/start"))
        clock.shift(timedelta(minutes=60))
        assert done(workshop.post(f"{path}/finish"))["actual_minutes"] == 60
        clock.shift(timedelta(minutes=10))
        began, ended = NINE + timedelta(minutes=15), NINE + timedelta(minutes=35)
        done(hold(workshop, job, occurred_at=began))
        assert detail(workshop, job)["tasks"][0]["actual_minutes"] == 15
        (hold_id,) = open_holds(workshop, job)
        done(release(workshop, job, hold_id, occurred_at=ended))
    assert detail(workshop, job)["tasks"][0]["actual_minutes"] == 40
