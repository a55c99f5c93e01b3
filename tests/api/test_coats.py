"""Coats: a flash-off timer each, the next one after it, and no car ready before."""

from collections.abc import Callable, Iterator
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
import time_machine

from jobs.work.calc.catalogue.operations import OPERATIONS
from jobs.work.calc.coats import PARTS
from jobs.work.models import Coat, WaitClock
from tests.api.steps import (
    NOWHERE,
    arrived,
    at_once,
    detail,
    done,
    fields,
    history,
    moved,
    refused,
    told,
)
from tests.scene import Api, Scene, key_api, make_scene, person_api

NINE = datetime(2027, 3, 1, 9, 0, tzinfo=UTC)


@pytest.fixture
def clock() -> Iterator[Any]:
    """Stop the clock at nine; the test moves it on."""
    with time_machine.travel(NINE, tick=False) as stopped:
        yield stopped


def minutes(count: float) -> timedelta:
    return timedelta(minutes=count)


def at(count: float) -> str:
    return f"{NINE + minutes(count):%Y-%m-%dT%H:%M:%SZ}"


def begun(scene: Scene, api: Api, operation: str = "sills_refinish", **more: Any) -> Any:
    """Return a job with this operation started, and the address of its task."""
    job = arrived(scene, operations=[operation], **more)
    (task,) = detail(api, job)["tasks"]
    path = f"/jobs/{job['id']}/tasks/{task['id']}"
    done(api.post(f"{path}/start"))
    return job, path


def coat(api: Api, path: str, kind: str = "colour", **more: Any) -> Any:
    return api.post(f"{path}/coats", {"kind": kind, **more})


def coats(api: Api, job: Any) -> Any:
    return done(api.get(f"/jobs/{job['id']}/coats"))["tasks"]


def test_each_coat_has_its_number_and_its_timer(scene: Scene, clock: Any) -> None:
    tam = person_api(scene.valeter)
    job, path = begun(scene, tam)
    first = coat(tam, path, "primer")
    assert first.status_code == 201
    assert first.json() == {
        "id": first.json()["id"],
        "task_id": path.rpartition("/")[2],
        "number": 1,
        "kind": "primer",
        "flash_off_minutes": 10,
        "applied_at": at(0),
        "flashed_off_at": at(10),
        "flashing_off": True,
        "early": False,
        "reason": "",
        "actor": "Tam Brackley",
    }
    clock.shift(minutes(10))
    second = done(coat(tam, path, flash_off_minutes=25))
    assert (second["number"], second["kind"], second["flashed_off_at"]) == (2, "colour", at(35))
    (task,) = coats(tam, job)
    assert [layer["number"] for layer in task["coats"]] == [1, 2]
    assert [layer["flashing_off"] for layer in task["coats"]] == [False, True]
    assert (task["operation"], task["name"]) == ("sills_refinish", "Refinish sills")
    assert (task["flashing_off"], task["next_coat_from"]) == (True, at(35))
    assert task["dry_to_handle_at"] == at(130)
    clock.shift(minutes(25))
    (task,) = coats(scene.dealer_api(), job)
    assert task["flashing_off"] is False
    assert [layer["flashing_off"] for layer in task["coats"]] == [False, False]


def test_a_coat_before_the_last_has_flashed_off_is_refused_with_the_time(
    scene: Scene, clock: Any
) -> None:
    tam = person_api(scene.valeter)
    job, path = begun(scene, tam)
    done(coat(tam, path, flash_off_minutes=15))
    clock.shift(minutes(15) - timedelta(seconds=1))
    problem = refused(coat(tam, path), 409, "refused")
    assert (problem["code"], problem["until"]) == ("flashing_off", at(15))
    assert "until 2027-03-01T09:15:00" in problem["detail"]
    assert problem["current"]["id"] == job["id"]
    assert Coat.objects.count() == WaitClock.objects.count() == 1
    clock.shift(timedelta(seconds=1))
    assert done(coat(tam, path))["early"] is False


def test_a_reason_lets_a_coat_go_on_early_and_is_kept(scene: Scene, clock: Any) -> None:
    tam = person_api(scene.valeter)
    job, path = begun(scene, tam)
    done(coat(tam, path, flash_off_minutes=30))
    clock.shift(minutes(5))
    refused(coat(tam, path, reason="   "), 409)
    early = done(coat(tam, path, flash_off_minutes=5, reason="Wet on wet, by the tin."))
    assert (early["early"], early["reason"]) == (True, "Wet on wet, by the tin.")
    entry = history(tam, job)[-1]
    assert (entry["kind"], entry["reason"]) == ("coat_applied", "Wet on wet, by the tin.")
    assert entry["data"]["early"] is True
    # The coat below is wet for longer than the one on top.
    assert coats(tam, job)[0]["next_coat_from"] == at(30)
    clock.shift(minutes(10))
    assert refused(coat(tam, path), 409)["until"] == at(30)


def test_timers_are_looked_at_as_of_the_devices_time(scene: Scene, clock: Any) -> None:
    tam = person_api(scene.valeter)
    _, path = begun(scene, tam)
    clock.shift(minutes(60))
    done(coat(tam, path, "primer", occurred_at=at(10), flash_off_minutes=10))
    problem = refused(coat(tam, path, occurred_at=at(15)), 409)
    assert (problem["code"], problem["until"]) == ("flashing_off", at(20))
    late = done(coat(tam, path, occurred_at=at(20)))
    assert (late["applied_at"], late["flashing_off"]) == (at(20), False)


def test_no_coat_is_older_than_the_work_or_the_coat_below(scene: Scene, clock: Any) -> None:
    tam = person_api(scene.valeter)
    _, path = begun(scene, tam)
    assert fields(coat(tam, path, occurred_at=at(-1))) == ["occurred_at"]
    clock.shift(minutes(30))
    done(coat(tam, path, occurred_at=at(20)))
    assert fields(coat(tam, path, occurred_at=at(19), reason="Late.")) == ["occurred_at"]


def test_each_part_of_a_car_flashes_off_by_itself(scene: Scene, clock: Any) -> None:
    del clock
    tam = person_api(scene.valeter)
    job, sills = begun(scene, tam)
    wheels = done(tam.post(f"/jobs/{job['id']}/tasks", {"operation": "steel_wheels_refinish"}))
    path = f"/jobs/{job['id']}/tasks/{wheels['id']}"
    done(tam.post(f"{path}/start"))
    done(coat(tam, sills))
    assert done(coat(tam, path, "primer"))["number"] == 1
    assert [task["operation"] for task in coats(tam, job)] == [
        "sills_refinish",
        "steel_wheels_refinish",
    ]


def test_the_car_is_not_ready_while_a_coat_flashes_off(scene: Scene, clock: Any) -> None:
    milo = person_api(scene.manager)
    job, path = begun(scene, milo)
    job = moved(milo, job, "correction")
    done(coat(milo, path, "lacquer", flash_off_minutes=40))
    (running,) = detail(milo, job)["clocks"]
    assert (running["kind"], running["operation"]) == ("flash_off", "sills_refinish")
    assert (running["started_at"], running["ends_at"]) == (at(0), at(40))
    clock.shift(minutes(39))
    to_ready = {"to": "ready", "version": job["version"], "confirm": True}
    moves = f"/jobs/{job['id']}/moves"
    assert refused(milo.post(moves, to_ready), 409)["code"] == "clock_running"
    assert moved(milo, job, "curing")["stage"] == "curing"
    clock.shift(minutes(1))
    done(milo.post(moves, {**to_ready, "version": job["version"] + 1}))


def test_finishing_starts_the_cure_clock_beside_the_timers(scene: Scene, clock: Any) -> None:
    tam = person_api(scene.valeter)
    job, path = begun(scene, tam)
    done(coat(tam, path))
    clock.shift(minutes(20))
    done(tam.post(f"{path}/finish"))
    wait = OPERATIONS["sills_refinish"].wait_minutes
    assert [(timer["kind"], timer["ends_at"]) for timer in detail(tam, job)["clocks"]] == [
        ("flash_off", at(10)),
        ("cure", at(20 + wait)),
    ]


def test_a_coat_of_finished_work_may_be_told_late_but_not_put_on(scene: Scene, clock: Any) -> None:
    tam = person_api(scene.valeter)
    _, path = begun(scene, tam)
    clock.shift(minutes(30))
    done(tam.post(f"{path}/finish"))
    assert done(coat(tam, path, occurred_at=at(12)))["number"] == 1
    clock.shift(minutes(30))
    assert refused(coat(tam, path), 409)["code"] == "not_started"
    done(tam.post(f"{path}/start"))
    assert done(coat(tam, path))["number"] == 2


def test_only_work_that_is_painted_and_begun_takes_coats(scene: Scene) -> None:
    tam = person_api(scene.valeter)
    job = arrived(scene, operations=["wax", "touch_in", "colour_coats"])
    wax, touch_in, colour = (
        f"/jobs/{job['id']}/tasks/{task['id']}" for task in detail(tam, job)["tasks"]
    )
    assert refused(coat(tam, touch_in), 409)["code"] == "not_started"
    for path in (wax, touch_in, colour):
        done(tam.post(f"{path}/start"))
    problem = refused(coat(tam, wax), 409)
    assert (problem["code"], "refinishing-steps" in problem["next_step"]) == ("not_painted", True)
    assert done(coat(tam, touch_in))["flash_off_minutes"] == 30
    assert done(coat(tam, colour))["flash_off_minutes"] == 30


def test_a_task_takes_so_many_coats_and_no_more(scene: Scene, monkeypatch: Any) -> None:
    monkeypatch.setattr("jobs.work.services.coats.MOST_COATS", 2)
    tam = person_api(scene.valeter)
    _, path = begun(scene, tam)
    for _ in range(2):
        done(coat(tam, path, reason="Wet on wet, by the tin."))
    problem = refused(coat(tam, path, reason="Wet on wet, by the tin."), 409)
    assert problem["code"] == "too_many"


def test_a_dropped_task_takes_no_coat(scene: Scene) -> None:
    job, tam = arrived(scene, operations=["touch_in"]), person_api(scene.valeter)
    (task,) = detail(tam, job)["tasks"]
    done(scene.dealer_api().patch(f"/work-orders/{job['id']}", {"operations": ["vacuum"]}))
    answer = coat(tam, f"/jobs/{job['id']}/tasks/{task['id']}")
    assert refused(answer, 409)["code"] == "not_started"


def test_coats_go_on_while_the_job_is_held_or_cancelled_until_the_car_is_gone(
    scene: Scene, clock: Any
) -> None:
    tam = person_api(scene.valeter)
    job, path = begun(scene, tam)
    done(tam.post(f"/jobs/{job['id']}/holds", {"cause": "decision"}))
    done(coat(tam, path))
    clock.shift(minutes(10))
    done(scene.dealer_api().post(f"/work-orders/{job['id']}/cancel"))
    done(coat(tam, path))
    clock.shift(minutes(10))
    done(tam.post(f"/jobs/{job['id']}/collection", {"confirm": True}))
    assert refused(coat(tam, path), 409)["code"] == "collected"


@pytest.mark.parametrize(
    ("body", "named"),
    [
        ({}, ["kind"]),
        ({"kind": "filler"}, ["kind"]),
        ({"kind": "colour", "flash_off_minutes": 0}, ["flash_off_minutes"]),
        ({"kind": "colour", "flash_off_minutes": 1441}, ["flash_off_minutes"]),
        ({"kind": "colour", "flash_off_minutes": -5}, ["flash_off_minutes"]),
        ({"kind": "colour", "reason": "x" * 501}, ["reason"]),
        ({"kind": "colour", "occurred_at": "2027-03-01T09:00:00"}, ["occurred_at"]),
        ({"kind": "paint", "minutes": 5}, ["kind", "minutes"]),
    ],
)
def test_a_coat_that_is_not_right_names_every_field(
    scene: Scene, body: dict[str, Any], named: list[str]
) -> None:
    tam = person_api(scene.valeter)
    _, path = begun(scene, tam)
    assert fields(tam.post(f"{path}/coats", body)) == named
    assert not Coat.objects.exists()


def test_coats_are_in_the_history_and_leave_version_and_events_alone(scene: Scene) -> None:
    tam = person_api(scene.valeter)
    job, path = begun(scene, tam)
    events = len(told(job))
    put_on = done(coat(tam, path, "primer"))
    entry = history(tam, job)[-1]
    assert (entry["kind"], entry["version"]) == ("coat_applied", job["version"])
    assert entry["data"] == {
        "coat_id": put_on["id"],
        "task_id": put_on["task_id"],
        "operation": "sills_refinish",
        "number": 1,
        "kind": "primer",
        "flash_off_minutes": 10,
        "early": False,
    }
    assert len(told(job)) == events


def test_strangers_and_wrong_tasks_find_nothing(scene: Scene) -> None:
    tam = person_api(scene.valeter)
    job, path = begun(scene, tam)
    _, second_path = begun(scene, tam, dealer_ref="PX-2", registration="JX19 KLM")
    done(coat(tam, path))
    strange = key_api(scene.stranger_workshop), key_api(scene.stranger_dealer)
    refused(coat(strange[0], path), 404, "not-found")
    for task_id in (second_path.rpartition("/")[2], NOWHERE):
        refused(coat(tam, f"/jobs/{job['id']}/tasks/{task_id}"), 404, "not-found")
    for api in strange:
        refused(api.get(f"/jobs/{job['id']}/coats"), 404, "not-found")
    refused(coat(scene.dealer_api(), path), 403, "not-allowed")
    assert Coat.objects.count() == 1


def test_the_list_costs_the_same_however_many_coats_there_are(
    scene: Scene, clock: Any, django_assert_num_queries: Callable[[int], Any]
) -> None:
    tam, workshop = person_api(scene.valeter), scene.workshop_api()
    job, path = begun(scene, tam)
    wheels = done(tam.post(f"/jobs/{job['id']}/tasks", {"operation": "steel_wheels_refinish"}))
    second = f"/jobs/{job['id']}/tasks/{wheels['id']}"
    done(tam.post(f"{second}/start"))
    for _ in range(3):
        done(coat(tam, path))
        done(coat(tam, second))
        clock.shift(minutes(30))
        workshop.get(f"/jobs/{job['id']}/coats")
        # The key, the job, its tasks, their coats and the air since.
        with django_assert_num_queries(5):
            assert coats(workshop, job)


@pytest.mark.django_db(transaction=True)
def test_of_two_coats_at_once_one_is_too_early() -> None:
    scene = make_scene()
    tam, neve = person_api(scene.valeter), person_api(scene.manager)
    _, path = begun(scene, tam)
    answers = at_once(lambda: coat(tam, path), lambda: coat(neve, path))
    assert sorted(answer.status_code for answer in answers) == [201, 409]
    assert Coat.objects.count() == WaitClock.objects.count() == 1


def test_the_catalogue_tells_the_steps_of_each_part(scene: Scene) -> None:
    shown = done(scene.dealer_api().get("/refinishing-steps"))
    assert "common practice, no source" in shown["guide"]
    assert [part["operation"] for part in shown["parts"]] == list(PARTS)
    sills = shown["parts"][1]
    assert sills["name"] == "Refinish sills"
    assert "drain holes" in sills["caution"]
    assert [step["operation"] for step in sills["steps"]] == [
        *("keying", "panel_wipe", "masking", "primer", "colour_coats", "lacquer")
    ]
    keying, *_, colour, _ = sills["steps"]
    assert keying["coats"] is None
    assert colour["coats"] == {"kind": "colour", "fewest": 2, "most": 4, "flash_off_minutes": 10}
    for step in sills["steps"]:
        assert step["work"]
        assert step["caution"] == OPERATIONS[step["operation"]].caution
