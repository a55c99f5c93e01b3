"""A car's way over the API: arrival, moves, rework, running clocks, collection."""

from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
import time_machine

from core.clock import now
from jobs.work.models import HistoryEntry, Job
from tests.api.steps import (
    arrived,
    at_once,
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
from tests.scene import Api, Scene, key_api, make_scene, person_api

NINE = datetime(2027, 3, 1, 9, 0, tzinfo=UTC)


def move(api: Api, job: Any, to: str, **more: Any) -> Any:
    return api.post(
        f"/jobs/{job['id']}/moves", {"to": to, "version": job["version"], "confirm": True, **more}
    )


def finish(api: Api, job: Any, operation: str) -> None:
    """Do one of the job's tasks from start to end."""
    task = next(task for task in detail(api, job)["tasks"] if task["operation"] == operation)
    for step in ("start", "finish"):
        done(api.post(f"/jobs/{job['id']}/tasks/{task['id']}/{step}"))


def drying(scene: Scene) -> Any:
    """Return a car in cleaning with wet seats, which take 240 minutes to dry."""
    job = arrived(scene, operations=["wet_extraction"])
    job = moved(scene.workshop_api(), job, "cleaning")
    finish(scene.workshop_api(), job, "wet_extraction")
    return job


def curing(scene: Scene) -> Any:
    """Return a car in curing whose trim was dressed, which takes 180 minutes to cure."""
    workshop = scene.workshop_api()
    job = moved(workshop, arrived(scene, operations=["trim_dressing"]), "correction")
    finish(workshop, job, "trim_dressing")
    return moved(workshop, job, "curing")


def test_an_arrival_is_recorded_once_told_and_makes_the_moves_open(scene: Scene) -> None:
    workshop, job = scene.workshop_api(), posted(scene.dealer_api())
    assert job["allowed_moves"] == []
    here = done(workshop.post(f"/jobs/{job['id']}/arrival", {"version": job["version"]}))
    assert here["arrived_at"] is not None
    assert here["version"] == job["version"] + 1
    assert here["allowed_moves"] == [
        {"to": "cleaning", "rework": False},
        {"to": "correction", "rework": False},
    ]
    assert told(job)[-1][0] == "job.arrived"
    again = refused(workshop.post(f"/jobs/{job['id']}/arrival"), 409, "refused")
    assert again["code"] == "arrived"
    stale = workshop.post(f"/jobs/{job['id']}/arrival", {"version": job["version"]})
    refused(stale, 409, "stale-version")


def test_a_move_is_written_down_and_told(scene: Scene) -> None:
    job = arrived(scene)
    person = person_api(scene.valeter)
    after = done(move(person, job, "cleaning"))
    assert (after["stage"], after["version"]) == ("cleaning", job["version"] + 1)
    entry = history(person, job)[-1]
    assert (entry["kind"], entry["from_stage"], entry["to_stage"]) == (
        "moved",
        "intake",
        "cleaning",
    )
    assert (entry["version"], entry["made_against"]) == (after["version"], job["version"])
    assert entry["actor"] == "Tam Brackley"
    assert entry["data"] == {"override": False, "rework": False}
    name, data = told(job)[-1]
    assert name == "job.stage_changed"
    assert (data["from_stage"], data["to_stage"], data["rework"]) == ("intake", "cleaning", False)
    assert data["job"]["version"] == after["version"]


@pytest.mark.parametrize("to", ["intake", "curing", "ready"])
def test_an_illegal_move_is_refused_with_the_state_and_the_moves_there_are(
    scene: Scene, to: str
) -> None:
    job = arrived(scene)
    problem = refused(move(scene.workshop_api(), job, to), 409, "refused")
    assert problem["code"] == "no_such_move"
    assert problem["current"]["stage"] == "intake"
    assert problem["current"]["version"] == job["version"]
    assert [allowed["to"] for allowed in problem["allowed_moves"]] == ["cleaning", "correction"]
    assert len(history(scene.workshop_api(), job)) == 3
    assert len(told(job)) == 3


@pytest.mark.parametrize("off", [-1, 1])
def test_a_stale_version_is_refused_with_the_present_state(scene: Scene, off: int) -> None:
    job = arrived(scene)
    stale = {**job, "version": job["version"] + off}
    problem = refused(move(scene.workshop_api(), stale, "cleaning"), 409, "stale-version")
    assert problem["current"]["version"] == job["version"]
    assert problem["current"]["stage"] == "intake"
    assert problem["current"]["arrived_at"] == job["arrived_at"]
    assert [allowed["to"] for allowed in problem["allowed_moves"]] == ["cleaning", "correction"]
    assert detail(scene.workshop_api(), job)["stage"] == "intake"


def test_a_move_without_the_version_seen_is_refused(scene: Scene) -> None:
    job = arrived(scene)
    answer = scene.workshop_api().post(f"/jobs/{job['id']}/moves", {"to": "cleaning"})
    assert fields(answer) == ["version"]


@pytest.mark.django_db(transaction=True)
def test_of_two_tablets_moving_at_the_same_moment_one_is_told_it_was_stale() -> None:
    scene = make_scene()
    job = arrived(scene)
    first, second = scene.workshop_api(), scene.workshop_api()
    answers = at_once(lambda: move(first, job, "cleaning"), lambda: move(second, job, "correction"))
    went, stayed = sorted(answers, key=lambda answer: int(answer.status_code))
    assert went.status_code == 200
    problem = refused(stayed, 409, "stale-version")
    assert problem["current"]["stage"] == went.json()["stage"]
    numbers = list(HistoryEntry.objects.order_by("number").values_list("number", flat=True))
    assert numbers == [1, 2, 3, 4]


def test_going_back_needs_a_reason_and_is_counted_as_rework(scene: Scene) -> None:
    workshop, job = scene.workshop_api(), ready(scene)
    assert refused(move(workshop, job, "cleaning"), 409)["code"] == "reason_needed"
    back = done(move(workshop, job, "cleaning", reason="A stain wicked up."))
    assert (back["rework_count"], back["ready_at"]) == (1, None)
    assert history(workshop, job)[-1]["data"]["rework"] is True
    name, data = told(job)[-1]
    assert (name, data["rework"], data["reason"]) == (
        "job.stage_changed",
        True,
        "A stain wicked up.",
    )
    again = moved(workshop, back, "ready", "correction")
    assert again["rework_count"] == 2


def test_readiness_is_told_by_a_completion_notice(scene: Scene) -> None:
    job = ready(scene)
    events = told(job)
    assert [name for name, _ in events][-2:] == ["job.stage_changed", "job.ready"]
    data = events[-1][1]
    assert (data["job"]["stage"], data["override"]) == ("ready", False)
    assert datetime.fromisoformat(data["job"]["ready_at"]) == datetime.fromisoformat(
        job["ready_at"]
    )


def test_a_clock_keeps_the_car_from_ready_until_it_ends(scene: Scene) -> None:
    workshop = scene.workshop_api()
    with time_machine.travel(NINE, tick=False) as clock:
        job = curing(scene)
        clocks = detail(workshop, job)["clocks"]
        assert [(wait["kind"], wait["operation"], wait["ends_at"]) for wait in clocks] == [
            ("cure", "trim_dressing", "2027-03-01T12:00:00Z")
        ]
        clock.move_to(NINE + timedelta(minutes=179, seconds=59))
        problem = refused(move(workshop, job, "ready"), 409, "refused")
        assert problem["code"] == "clock_running"
        clock.move_to(NINE + timedelta(minutes=180))
        assert done(move(workshop, job, "ready"))["stage"] == "ready"


def test_the_last_of_several_clocks_decides(scene: Scene) -> None:
    workshop = scene.workshop_api()
    with time_machine.travel(NINE, tick=False) as clock:
        job = arrived(scene, operations=["trim_dressing", "touch_in"])
        job = moved(workshop, job, "correction")
        finish(workshop, job, "trim_dressing")  # 180 minutes
        finish(workshop, job, "touch_in")  # 60 minutes
        job = moved(workshop, job, "curing")
        clock.move_to(NINE + timedelta(minutes=61))
        assert refused(move(workshop, job, "ready"), 409)["code"] == "clock_running"
        clock.move_to(NINE + timedelta(minutes=180))
        assert done(move(workshop, job, "ready"))["stage"] == "ready"


def test_a_clock_keeps_the_car_from_no_other_stage(scene: Scene) -> None:
    job = drying(scene)
    assert done(move(scene.workshop_api(), job, "correction"))["stage"] == "correction"


def test_a_move_sent_late_is_held_against_the_time_it_was_made(scene: Scene) -> None:
    workshop = scene.workshop_api()
    with time_machine.travel(NINE, tick=False) as clock:
        job = curing(scene)
        clock.move_to(NINE + timedelta(hours=6))
        early = (NINE + timedelta(hours=2)).isoformat()
        assert refused(move(workshop, job, "ready", occurred_at=early), 409)["code"] == (
            "clock_running"
        )
        late = (NINE + timedelta(hours=5)).isoformat()
        assert done(move(workshop, job, "ready", occurred_at=late))["ready_at"] == (
            "2027-03-01T14:00:00Z"
        )


def test_a_manager_may_override_a_clock_with_a_reason_which_is_recorded_and_told(
    scene: Scene,
) -> None:
    job = drying(scene)
    manager = person_api(scene.manager)
    assert refused(move(manager, job, "ready", override=True), 409)["code"] == "reason_needed"
    reason = "Dry to the touch, heater run."
    passed = done(move(manager, job, "ready", override=True, reason=reason))
    assert passed["stage"] == "ready"
    entry = history(manager, job)[-1]
    assert (entry["data"]["override"], entry["reason"], entry["actor"]) == (
        True,
        reason,
        "Milo Treen",
    )
    events = told(job)[-2:]
    assert [name for name, _ in events] == ["job.stage_changed", "job.ready"]
    assert [(data["override"], data["reason"]) for _, data in events] == [(True, reason)] * 2


def test_an_override_where_no_clock_runs_is_not_recorded_as_one(scene: Scene) -> None:
    job = moved(scene.workshop_api(), arrived(scene), "cleaning")
    done(move(scene.workshop_api(), job, "ready", override=True, reason="To be safe."))
    assert history(scene.workshop_api(), job)[-1]["data"]["override"] is False
    assert told(job)[-1][1]["override"] is False


def test_a_valeter_may_not_override(scene: Scene) -> None:
    job = drying(scene)
    answer = move(person_api(scene.valeter), job, "ready", override=True, reason="Looks dry.")
    assert refused(answer, 403, "not-allowed")["required_scope"] == "jobs.override"
    assert detail(scene.workshop_api(), job)["stage"] == "cleaning"


def test_the_devices_time_and_the_servers_are_both_kept(scene: Scene) -> None:
    workshop, job = scene.workshop_api(), arrived(scene)
    made = now() - timedelta(hours=2)
    done(move(workshop, job, "cleaning", occurred_at=made.isoformat()))
    entry = HistoryEntry.objects.get(job_id=job["id"], number=4)
    assert entry.occurred_at == made
    assert now() - entry.recorded_at < timedelta(minutes=1)
    assert told(job)[-1][1]["job"]["stage"] == "cleaning"


@pytest.mark.parametrize(
    "wrong",
    [
        "2027-03-01T09:30:00",
        "2027-03-01",
        "09:30",
        "now",
        "",
        1_800_000_000,
        "{ahead}",
        "{behind}",
    ],
)
def test_a_device_time_without_zone_or_out_of_reach_is_refused(scene: Scene, wrong: Any) -> None:
    job = arrived(scene)
    times = {
        "{ahead}": (now() + timedelta(minutes=3)).isoformat(),
        "{behind}": (now() - timedelta(days=31)).isoformat(),
    }
    answer = move(scene.workshop_api(), job, "cleaning", occurred_at=times.get(wrong, wrong))
    assert fields(answer) == ["occurred_at"]


def test_a_clock_a_little_fast_is_borne_with(scene: Scene) -> None:
    job = arrived(scene)
    ahead = (now() + timedelta(minutes=1)).isoformat()
    assert move(scene.workshop_api(), job, "cleaning", occurred_at=ahead).status_code == 200


def test_a_ready_car_is_collected_and_told_and_then_closed(scene: Scene) -> None:
    workshop, job = scene.workshop_api(), ready(scene)
    gone = done(workshop.post(f"/jobs/{job['id']}/collection", {"confirm": True}))
    assert gone["is_open"] is False
    assert gone["allowed_moves"] == []
    assert told(job)[-1][0] == "job.collected"
    assert (
        refused(workshop.post(f"/jobs/{job['id']}/collection", {"confirm": True}), 409)["code"]
        == "collected"
    )
    assert refused(move(workshop, gone, "cleaning"), 409)["code"] == "collected"


def test_a_car_that_is_not_ready_is_collected_with_a_reason_only(scene: Scene) -> None:
    workshop, job = scene.workshop_api(), arrived(scene)
    path = f"/jobs/{job['id']}/collection"
    assert refused(workshop.post(path), 409)["code"] == "reason_needed"
    assert refused(workshop.post(path, {"reason": "  "}), 409)["code"] == "reason_needed"
    done(workshop.post(path, {"reason": "The dealer needs it back.", "confirm": True}))
    assert told(job)[-1][1]["reason"] == "The dealer needs it back."


def test_another_workshop_moves_nothing(scene: Scene) -> None:
    job = arrived(scene)
    refused(move(key_api(scene.stranger_workshop), job, "cleaning"), 404, "not-found")
    assert Job.objects.get().stage == "intake"
