"""Minutes that nobody would expect: marked, asked about, answered; and how dirty cars come in."""

from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
import time_machine

from jobs.work.models import HistoryEntry, Job, Task
from jobs.work.selectors.catalogue import catalogue_of
from jobs.work.selectors.minutes import seen_of
from jobs.work.words.jobs.history import sentence
from tests.api.steps import NOWHERE, arrived, detail, done, fields, history, posted, refused, told
from tests.api.worked import finished, forgotten, worked
from tests.scene import Scene, key_api, person_api

NINE = datetime(2027, 3, 1, 9, 0, tzinfo=UTC)


@pytest.fixture
def clock() -> Iterator[Any]:
    """Stop the clock at nine; the test moves it on."""
    with time_machine.travel(NINE, tick=False) as stopped:
        yield stopped


def task_at(path: str) -> Task:
    return Task.objects.get(pk=path.rpartition("/")[2])


def test_a_clock_left_running_over_night_is_asked_about(scene: Scene, clock: Any) -> None:
    tam = person_api(scene.valeter)
    _, path = forgotten(scene, tam, clock)
    assert (task_at(path).doubt, task_at(path).actual_minutes) == ("asked", 840)


def test_a_clock_started_only_at_the_end_is_asked_about(scene: Scene, clock: Any) -> None:
    tam = person_api(scene.valeter)
    path = worked(tam, clock, arrived(scene), 2)
    assert task_at(path).doubt == "asked"


@pytest.mark.parametrize("seconds", [0, 1, 29, 30, 59])
def test_a_task_finished_after_less_than_a_minute_is_asked_about(
    scene: Scene, clock: Any, seconds: int
) -> None:
    """Whatever the work usually takes, and left out of what is learnt until somebody says."""
    catalogue = catalogue_of(scene.workshop.pk)
    path = worked(person_api(scene.valeter), clock, arrived(scene), seconds / 60)
    assert task_at(path).doubt == "asked"
    assert seen_of(scene.workshop.pk, catalogue).asked["wash_body"] == 1
    done(person_api(scene.valeter).post(f"{path}/minutes", {"minutes": 30}))
    assert seen_of(scene.workshop.pk, catalogue).counted["wash_body"] == 1


def test_short_work_of_a_minute_is_not_asked_about(scene: Scene, clock: Any) -> None:
    finished(scene, 30, code="touch_in", minutes=3)
    job = arrived(scene, operations=["touch_in"])
    path = worked(person_api(scene.valeter), clock, job, 1)
    assert (task_at(path).doubt, task_at(path).actual_minutes) == ("", 1)


def test_work_of_which_the_car_was_held_all_the_time_is_asked_about(
    scene: Scene, clock: Any
) -> None:
    tam, job = person_api(scene.valeter), arrived(scene)
    path = worked(tam, clock, job, 35)
    assert task_at(path).doubt == ""
    told_late = {"cause": "parts", "occurred_at": NINE.isoformat()}
    done(tam.post(f"/jobs/{job['id']}/holds", told_late))
    assert (task_at(path).doubt, task_at(path).actual_minutes) == ("asked", 0)


@pytest.mark.parametrize("minutes", [12, 35, 70, 120])
def test_ordinary_minutes_are_not_asked_about(scene: Scene, clock: Any, minutes: int) -> None:
    path = worked(person_api(scene.valeter), clock, arrived(scene), minutes)
    assert (task_at(path).doubt, task_at(path).actual_minutes) == ("", minutes)


def test_what_is_ordinary_is_learnt_from_the_workshop(scene: Scene, clock: Any) -> None:
    """Two and a half hours are much for a wash by our standard, but not where all take two."""
    finished(scene, 30, minutes=34)
    tam = person_api(scene.valeter)
    assert task_at(worked(tam, clock, arrived(scene), 200)).doubt == "asked"
    finished(scene, 200, minutes=150)
    job = arrived(scene, dealer_ref="PX-2", registration="JX19 KLM")
    assert task_at(worked(tam, clock, job, 200)).doubt == ""


def test_a_pause_is_not_asked_about(scene: Scene, clock: Any) -> None:
    tam, job = person_api(scene.valeter), arrived(scene)
    path = f"/jobs/{job['id']}/tasks/{detail(tam, job)['tasks'][0]['id']}"
    done(tam.post(f"{path}/start"))
    clock.shift(timedelta(hours=14))
    done(tam.post(f"{path}/finish", {"done": False}))
    assert task_at(path).doubt == ""


def test_somebody_says_that_they_are_right(scene: Scene, clock: Any) -> None:
    tam = person_api(scene.valeter)
    job, path = forgotten(scene, tam, clock)
    answered = done(tam.post(f"{path}/minutes", {"right": True}))
    assert (answered["doubt"], answered["told_minutes"], answered["actual_minutes"]) == (
        "right",
        None,
        840,
    )
    assert history(tam, job)[-1]["data"]["right"] is True


def test_somebody_tells_what_it_really_took_and_the_measure_stays(scene: Scene, clock: Any) -> None:
    tam = person_api(scene.valeter)
    job, path = forgotten(scene, tam, clock)
    said = {"minutes": 45, "reason": "Left running over night."}
    answered = done(tam.post(f"{path}/minutes", said))
    assert (answered["doubt"], answered["told_minutes"], answered["actual_minutes"]) == (
        "forgotten",
        45,
        840,
    )
    entry = history(tam, job)[-1]
    assert (entry["kind"], entry["actor"], entry["reason"]) == (
        "minutes_told",
        "Tam Brackley",
        "Left running over night.",
    )
    assert entry["data"] == {
        "task_id": path.rpartition("/")[2],
        "operation": "wash_body",
        "name": "Wash and dry the body",
        "minutes": 45,
        "measured_minutes": 840,
        "right": False,
    }
    assert sentence(HistoryEntry.objects.get(job_id=job["id"], number=entry["number"])) == (
        "Asked how long it took: wash and dry the body, 45 minutes. Left running over night."
    )


def test_an_answer_raises_no_version_and_tells_nobody(scene: Scene, clock: Any) -> None:
    tam = person_api(scene.valeter)
    job, path = forgotten(scene, tam, clock)
    before = (detail(tam, job)["version"], len(told(job)))
    done(tam.post(f"{path}/minutes", {"minutes": 45}))
    assert (detail(tam, job)["version"], len(told(job))) == before


def test_the_same_answer_again_changes_nothing_and_another_takes_its_place(
    scene: Scene, clock: Any
) -> None:
    tam, milo = person_api(scene.valeter), person_api(scene.manager)
    job, path = forgotten(scene, tam, clock)
    for _ in range(2):
        done(tam.post(f"{path}/minutes", {"minutes": 54}))
    assert len(history(tam, job)) == 6
    corrected = done(milo.post(f"{path}/minutes", {"minutes": 45}))
    assert corrected["told_minutes"] == 45
    assert [entry["data"]["minutes"] for entry in history(tam, job)[-2:]] == [54, 45]


def test_an_answer_that_comes_late_does_not_undo_a_newer_one(scene: Scene, clock: Any) -> None:
    tam, milo = person_api(scene.valeter), person_api(scene.manager)
    job, path = forgotten(scene, tam, clock)
    at = (NINE + timedelta(hours=14)).isoformat()
    clock.shift(timedelta(minutes=30))
    done(milo.post(f"{path}/minutes", {"minutes": 45}))
    entries = len(history(tam, job))
    stands = done(tam.post(f"{path}/minutes", {"minutes": 60, "occurred_at": at}))
    assert (stands["told_minutes"], len(history(tam, job))) == (45, entries)


def test_minutes_may_be_told_without_being_asked(scene: Scene, clock: Any) -> None:
    tam = person_api(scene.valeter)
    path = worked(tam, clock, arrived(scene), 60)
    answered = done(tam.post(f"{path}/minutes", {"minutes": 40, "reason": "Lunch."}))
    assert (answered["doubt"], answered["told_minutes"]) == ("forgotten", 40)


@pytest.mark.parametrize(
    ("body", "wrong"),
    [
        ({}, ["minutes"]),
        ({"right": False}, ["minutes"]),
        ({"right": True, "minutes": 45}, ["minutes"]),
        ({"right": "yes", "minutes": 45}, ["minutes"]),
        ({"right": {}, "minutes": []}, ["minutes", "right"]),
        ({"minutes": 0}, ["minutes"]),
        ({"minutes": 2401}, ["minutes"]),
        ({"minutes": "an hour", "because": "x"}, ["because", "minutes"]),
    ],
)
def test_an_answer_that_is_not_right_names_every_field(
    scene: Scene, clock: Any, body: dict[str, Any], wrong: list[str]
) -> None:
    tam = person_api(scene.valeter)
    _, path = forgotten(scene, tam, clock)
    assert sorted(fields(tam.post(f"{path}/minutes", body))) == wrong
    assert task_at(path).doubt == "asked"


def test_no_minutes_at_all_cannot_be_right(scene: Scene, clock: Any) -> None:
    tam = person_api(scene.valeter)
    path = worked(tam, clock, arrived(scene), 0)
    assert fields(tam.post(f"{path}/minutes", {"right": True})) == ["right"]
    assert done(tam.post(f"{path}/minutes", {"minutes": 30}))["told_minutes"] == 30


def test_work_that_is_not_finished_has_no_minutes_to_tell(scene: Scene) -> None:
    tam, job = person_api(scene.valeter), arrived(scene)
    path = f"/jobs/{job['id']}/tasks/{detail(tam, job)['tasks'][0]['id']}"
    assert refused(tam.post(f"{path}/minutes", {"minutes": 5}), 409)["code"] == "not_finished"


def test_a_task_of_another_job_or_workshop_is_not_found(scene: Scene, clock: Any) -> None:
    tam = person_api(scene.valeter)
    job, path = forgotten(scene, tam, clock)
    body = {"minutes": 45}
    refused(tam.post(f"/jobs/{job['id']}/tasks/{NOWHERE}/minutes", body), 404, "not-found")
    stranger = key_api(scene.stranger_workshop)
    refused(stranger.post(f"{path}/minutes", body), 404, "not-found")
    assert task_at(path).doubt == "asked"


def test_a_hold_told_late_that_explains_the_minutes_ends_the_question(
    scene: Scene, clock: Any
) -> None:
    tam = person_api(scene.valeter)
    job, path = forgotten(scene, tam, clock)
    assert task_at(path).doubt == "asked"
    began = (NINE + timedelta(minutes=40)).isoformat()
    done(tam.post(f"/jobs/{job['id']}/holds", {"cause": "parts", "occurred_at": began}))
    assert (task_at(path).doubt, task_at(path).actual_minutes) == ("", 40)


def test_a_hold_that_explains_too_little_leaves_the_question(scene: Scene, clock: Any) -> None:
    tam = person_api(scene.valeter)
    job, path = forgotten(scene, tam, clock)
    began = (NINE + timedelta(hours=13)).isoformat()
    done(tam.post(f"/jobs/{job['id']}/holds", {"cause": "parts", "occurred_at": began}))
    assert (task_at(path).doubt, task_at(path).actual_minutes) == ("asked", 780)


def test_work_taken_up_again_adds_to_what_was_told(scene: Scene, clock: Any) -> None:
    tam = person_api(scene.valeter)
    job, path = forgotten(scene, tam, clock)
    done(tam.post(f"{path}/minutes", {"minutes": 45}))
    worked(tam, clock, job, 10)
    again = task_at(path)
    assert (again.doubt, again.told_minutes, again.actual_minutes) == ("forgotten", 55, 850)


def test_a_clock_forgotten_a_second_time_is_asked_about_again(scene: Scene, clock: Any) -> None:
    tam = person_api(scene.valeter)
    job, path = forgotten(scene, tam, clock)
    done(tam.post(f"{path}/minutes", {"minutes": 45}))
    worked(tam, clock, job, 13 * 60)
    assert task_at(path).doubt == "asked"
    answered = done(tam.post(f"{path}/minutes", {"minutes": 60}))
    assert (answered["doubt"], answered["told_minutes"]) == ("forgotten", 60)


def test_the_levels_of_dirt_are_listed_with_words_and_pictures(scene: Scene) -> None:
    levels = done(scene.dealer_api().get("/soiling-levels"))["levels"]
    assert [level["level"] for level in levels] == [1, 2, 3, 4, 5]
    assert all(level["svg"].startswith("<svg") and level["words"] for level in levels)


def test_dirt_is_noted_at_intake_and_stands_in_the_history(scene: Scene) -> None:
    tam, job = person_api(scene.valeter), arrived(scene)
    noted = done(tam.post(f"/jobs/{job['id']}/soiling", {"level": 4}))
    assert (noted["job_id"], noted["level"], noted["name"]) == (job["id"], 4, "Let go")
    assert Job.objects.get(pk=job["id"]).soiling == 4
    entry = history(tam, job)[-1]
    assert (entry["kind"], entry["data"]) == ("soiling_noted", {"level": 4, "was": None})
    assert detail(tam, job)["version"] == job["version"]


def test_dirt_noted_again_changes_it_and_the_same_again_does_not(scene: Scene) -> None:
    tam, job = person_api(scene.valeter), arrived(scene)
    for level in (4, 4, 3):
        done(tam.post(f"/jobs/{job['id']}/soiling", {"level": level}))
    noted = [entry["data"] for entry in history(tam, job) if entry["kind"] == "soiling_noted"]
    assert noted == [{"level": 4, "was": None}, {"level": 3, "was": 4}]


def test_dirt_noted_late_does_not_undo_a_newer_note(scene: Scene, clock: Any) -> None:
    tam, job = person_api(scene.valeter), arrived(scene)
    clock.shift(timedelta(minutes=30))
    done(tam.post(f"/jobs/{job['id']}/soiling", {"level": 4}))
    late = {"level": 2, "occurred_at": NINE.isoformat()}
    assert done(tam.post(f"/jobs/{job['id']}/soiling", late))["level"] == 4


@pytest.mark.parametrize("level", [0, 6, "dirty", None])
def test_a_level_that_there_is_not_is_refused(scene: Scene, level: Any) -> None:
    job = arrived(scene)
    answer = person_api(scene.valeter).post(f"/jobs/{job['id']}/soiling", {"level": level})
    assert fields(answer) == ["level"]


def test_dirt_is_not_noted_before_the_car_is_here(scene: Scene) -> None:
    job = posted(scene.dealer_api())
    answer = person_api(scene.valeter).post(f"/jobs/{job['id']}/soiling", {"level": 3})
    assert refused(answer, 409)["code"] == "not_arrived"
