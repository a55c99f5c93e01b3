"""Tasks: added, started, shared, paused, finished, and what they leave to cure or dry."""

from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
import time_machine

from jobs.work.models import Spell
from tests.api.steps import (
    NOWHERE,
    arrived,
    at_once,
    detail,
    done,
    fields,
    history,
    posted,
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


def task_path(api: Api, job: Any, index: int = 0) -> str:
    return f"/jobs/{job['id']}/tasks/{detail(api, job)['tasks'][index]['id']}"


def minutes(count: float) -> timedelta:
    return timedelta(minutes=count)


def test_a_task_is_started_and_finished_with_its_minutes(scene: Scene, clock: Any) -> None:
    job, tam = arrived(scene), person_api(scene.valeter)
    path = task_path(tam, job)
    started = done(tam.post(f"{path}/start"))
    assert (started["state"], started["started_at"]) == ("started", "2027-03-01T09:00:00Z")
    assert (started["actual_minutes"], started["finished_at"]) == (None, None)
    clock.shift(minutes(32))
    finished = done(tam.post(f"{path}/finish", {"note": "Tar on the sills."}))
    assert (finished["state"], finished["actual_minutes"]) == ("finished", 32)
    assert finished["finished_at"] == "2027-03-01T09:32:00Z"
    assert finished["note"] == "Tar on the sills."
    assert detail(tam, job)["tasks"][0] == finished


def test_tasks_are_in_the_history_and_leave_version_and_events_alone(scene: Scene) -> None:
    job, tam = arrived(scene), person_api(scene.valeter)
    events = len(told(job))
    path = task_path(tam, job)
    done(tam.post(f"/jobs/{job['id']}/tasks", {"operation": "pet_hair"}))
    for step, body in (("start", {}), ("finish", {"done": False}), ("start", {}), ("finish", {})):
        done(tam.post(f"{path}/{step}", body))
    entries = history(tam, job)[3:]
    assert [entry["kind"] for entry in entries] == [
        "task_added",
        "task_started",
        "task_paused",
        "task_started",
        "task_finished",
    ]
    assert [entry["number"] for entry in entries] == [4, 5, 6, 7, 8]
    assert {entry["version"] for entry in entries} == {job["version"]}
    assert {entry["actor"] for entry in entries} == {"Tam Brackley"}
    assert entries[1]["data"] == {
        "task_id": path.rpartition("/")[2],
        "operation": "wash_body",
        "name": "Wash and dry the body",
    }
    assert detail(tam, job)["version"] == job["version"]
    assert len(told(job)) == events


def test_several_valeters_on_one_task_add_their_minutes_up(scene: Scene, clock: Any) -> None:
    job = arrived(scene)
    tam, milo = person_api(scene.valeter), person_api(scene.manager)
    path = task_path(tam, job)
    done(tam.post(f"{path}/start"))
    clock.shift(minutes(10))
    done(milo.post(f"{path}/start"))
    clock.shift(minutes(20))
    finished = done(tam.post(f"{path}/finish"))
    assert (finished["state"], finished["actual_minutes"]) == ("finished", 50)
    assert not Spell.objects.filter(ended_at__isnull=True).exists()


def test_one_valeter_may_leave_a_task_that_another_goes_on_with(scene: Scene, clock: Any) -> None:
    job = arrived(scene)
    tam, milo = person_api(scene.valeter), person_api(scene.manager)
    path = task_path(tam, job)
    for person in (tam, milo):
        done(person.post(f"{path}/start"))
    clock.shift(minutes(15))
    left = done(tam.post(f"{path}/finish", {"done": False}))
    assert (left["state"], left["actual_minutes"]) == ("started", 15)
    assert refused(tam.post(f"{path}/finish", {"done": False}), 409)["code"] == "not_started"
    clock.shift(minutes(15))
    assert done(milo.post(f"{path}/finish"))["actual_minutes"] == 45


def test_a_task_taken_up_again_goes_on_counting(scene: Scene, clock: Any) -> None:
    job, tam = arrived(scene), person_api(scene.valeter)
    path = task_path(tam, job)
    done(tam.post(f"{path}/start"))
    clock.shift(minutes(10))
    done(tam.post(f"{path}/finish"))
    clock.shift(minutes(60))
    again = done(tam.post(f"{path}/start"))
    assert (again["state"], again["finished_at"]) == ("started", None)
    assert again["started_at"] == "2027-03-01T09:00:00Z"
    clock.shift(minutes(5))
    assert done(tam.post(f"{path}/finish"))["actual_minutes"] == 15


def test_a_person_is_on_a_task_once(scene: Scene) -> None:
    job, tam, system = arrived(scene), person_api(scene.valeter), scene.workshop_api()
    path = task_path(tam, job)
    for caller in (tam, system):
        done(caller.post(f"{path}/start"))
        assert refused(caller.post(f"{path}/start"), 409)["code"] == "started"
    assert Spell.objects.count() == 2


@pytest.mark.django_db(transaction=True)
def test_a_double_tap_starts_a_task_once() -> None:
    scene = make_scene()
    job, tam = arrived(scene), person_api(scene.valeter)
    path = task_path(tam, job)
    again = person_api(scene.valeter)
    answers = at_once(lambda: tam.post(f"{path}/start"), lambda: again.post(f"{path}/start"))
    assert sorted(answer.status_code for answer in answers) == [200, 409]
    assert Spell.objects.count() == 1


def test_a_workshops_system_names_who_works(scene: Scene, clock: Any) -> None:
    job, system = arrived(scene), scene.workshop_api()
    path = task_path(system, job)
    who = {"person_id": str(scene.valeter.pk)}
    done(system.post(f"{path}/start", who))
    assert Spell.objects.get().person == scene.valeter
    clock.shift(minutes(9))
    left = done(system.post(f"{path}/finish", {**who, "done": False}))
    assert left["actual_minutes"] == 9


def test_no_person_is_named_where_the_task_ends_for_all(scene: Scene) -> None:
    job, system = arrived(scene), scene.workshop_api()
    path = task_path(system, job)
    who = {"person_id": str(scene.valeter.pk)}
    done(system.post(f"{path}/start", who))
    for more in ({}, {"done": True}):
        assert fields(system.post(f"{path}/finish", {**who, **more})) == ["person_id"]


def test_somebody_of_another_organisation_cannot_be_named(scene: Scene) -> None:
    job, system = arrived(scene), scene.workshop_api()
    path = task_path(system, job)
    for person_id in (str(scene.staff.pk), NOWHERE):
        answer = system.post(f"{path}/start", {"person_id": person_id})
        assert fields(answer) == ["person_id"]
    assert not Spell.objects.exists()


def test_a_task_that_nobody_started_cannot_be_finished(scene: Scene) -> None:
    job, tam = arrived(scene), person_api(scene.valeter)
    path = task_path(tam, job)
    for body in ({}, {"done": False}):
        assert refused(tam.post(f"{path}/finish", body), 409)["code"] == "not_started"


def test_work_cannot_end_before_it_began(scene: Scene, clock: Any) -> None:
    job, tam = arrived(scene), person_api(scene.valeter)
    path = task_path(tam, job)
    clock.shift(minutes(60))
    done(tam.post(f"{path}/start"))
    answer = tam.post(f"{path}/finish", {"occurred_at": "2027-03-01T09:30:00Z"})
    assert fields(answer) == ["occurred_at"]
    assert detail(tam, job)["tasks"][0]["state"] == "started"


def test_no_task_is_started_before_the_car_has_come(scene: Scene) -> None:
    job, tam = posted(scene.dealer_api()), person_api(scene.valeter)
    assert refused(tam.post(f"{task_path(tam, job)}/start"), 409)["code"] == "not_arrived"


def test_an_operation_is_added_with_its_standard_minutes_or_others(scene: Scene) -> None:
    job, tam = arrived(scene), person_api(scene.valeter)
    path = f"/jobs/{job['id']}/tasks"
    added = tam.post(path, {"operation": "pet_hair", "note": "A long-haired dog."})
    assert added.status_code == 201
    assert (added.json()["planned_minutes"], added.json()["state"]) == (40, "wanted")
    second_task = done(tam.post(path, {"operation": "odour", "planned_minutes": 15}))
    assert (second_task["planned_minutes"], second_task["stage"]) == (15, "cleaning")
    assert len(detail(tam, job)["tasks"]) == 4


@pytest.mark.parametrize(
    ("body", "field"),
    [
        ({}, "operation"),
        ({"operation": "full_valet"}, "operation"),
        ({"operation": "polish"}, "operation"),
        ({"operation": "odour", "planned_minutes": 0}, "planned_minutes"),
        ({"operation": "odour", "minutes": 5}, "minutes"),
    ],
)
def test_a_task_that_is_not_right_names_the_field(
    scene: Scene, body: dict[str, Any], field: str
) -> None:
    job = arrived(scene)
    assert fields(scene.workshop_api().post(f"/jobs/{job['id']}/tasks", body)) == [field]


def test_a_task_of_another_job_or_of_none_is_not_found(scene: Scene) -> None:
    tam = person_api(scene.valeter)
    job, second_job = arrived(scene), arrived(scene, dealer_ref="PX-2", registration="JX19 KLM")
    foreign = detail(tam, second_job)["tasks"][0]["id"]
    for task_id in (foreign, NOWHERE):
        for step in ("start", "finish"):
            refused(tam.post(f"/jobs/{job['id']}/tasks/{task_id}/{step}"), 404, "not-found")
    own = task_path(tam, job)
    refused(key_api(scene.stranger_workshop).post(f"{own}/start"), 404, "not-found")


def test_work_begun_can_be_ended_though_the_order_was_cancelled(scene: Scene, clock: Any) -> None:
    job, tam = arrived(scene), person_api(scene.valeter)
    path = task_path(tam, job)
    done(tam.post(f"{path}/start"))
    clock.shift(minutes(25))
    done(scene.dealer_api().post(f"/work-orders/{job['id']}/cancel"))
    finished = done(tam.post(f"{path}/finish", {"done": False}))
    assert finished["actual_minutes"] == 25
    assert refused(tam.post(f"{path}/start"), 409)["code"] == "cancelled"
    assert refused(tam.post(f"{task_path(tam, job, 1)}/finish"), 409)["code"] == "cancelled"


def test_what_a_finished_operation_leaves_starts_its_clock_a_pause_does_not(
    scene: Scene, clock: Any
) -> None:
    job, tam = arrived(scene, operations=["wax"]), person_api(scene.valeter)
    path = task_path(tam, job)
    done(tam.post(f"{path}/start"))
    clock.shift(minutes(10))
    done(tam.post(f"{path}/finish", {"done": False}))
    assert detail(tam, job)["clocks"] == []
    clock.shift(minutes(10))
    done(tam.post(f"{path}/finish"))
    (curing,) = detail(tam, job)["clocks"]
    assert (curing["kind"], curing["operation"]) == ("cure", "wax")
    assert curing["started_at"] == "2027-03-01T09:20:00Z"
    assert curing["ends_at"] == "2027-03-01T09:50:00Z"


def test_an_operation_that_leaves_nothing_starts_no_clock(scene: Scene) -> None:
    job, tam = arrived(scene), person_api(scene.valeter)
    path = task_path(tam, job)
    for step in ("start", "finish"):
        done(tam.post(f"{path}/{step}"))
    assert detail(tam, job)["clocks"] == []
