"""How long work takes here: the figures, and what a car still takes."""

from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
import time_machine
from scipy import stats

from core.clock import now
from jobs.work.calc.catalogue.operations import OPERATIONS
from jobs.work.calc.minutes.durations import BELIEFS, UNKNOWN
from jobs.work.models import Job, Task
from tests.api.desk import signed_in, text_of
from tests.api.steps import NOWHERE, arrived, detail, done, fields, refused
from tests.api.worked import finished
from tests.scene import Api, Scene, key_api, person_api

PATH = "/workshop/durations"
FIGURES = ("p50_minutes", "p80_minutes", "observations")
NINE = datetime(2027, 3, 1, 9, 0, tzinfo=UTC)


def asked(api: Api, code: str = "wash_body", **query: Any) -> Any:
    """Return what is said of one operation."""
    wanted = "&".join(f"{name}={value}" for name, value in {"operation": code, **query}.items())
    (operation,) = done(api.get(f"{PATH}?{wanted}"))["operations"]
    return operation


def test_a_workshop_without_history_hears_our_standard_minutes(scene: Scene) -> None:
    answer = done(scene.workshop_api().get(PATH))
    assert (answer["learnt_from"], answer["waiting"], answer["asked"]) == (0, 0, [])
    assert [operation["operation"] for operation in answer["operations"]] == list(OPERATIONS)
    for operation in answer["operations"]:
        assert operation["p50_minutes"] == operation["standard_minutes"]
        assert operation["p80_minutes"] > operation["p50_minutes"]
        assert (operation["observations"], operation["finished"], operation["unmeasured"]) == (
            0,
            0,
            0,
        )


def test_finished_work_moves_the_figures_and_says_how_much_it_says(scene: Scene) -> None:
    api = scene.workshop_api()
    before = asked(api)
    finished(scene, 3, minutes=60)
    few = asked(api)
    finished(scene, 40, minutes=60)
    many = asked(api)
    assert before["p50_minutes"] == 35 < few["p50_minutes"] < many["p50_minutes"] <= 60
    assert 0 < few["observations"] < many["observations"]
    assert (few["finished"], many["finished"]) == (3, 43)
    assert done(api.get(PATH))["learnt_from"] == 43


def test_other_operations_learn_from_it_too_but_less(scene: Scene) -> None:
    finished(scene, 30, minutes=70)
    api = scene.workshop_api()
    vacuum = asked(api, "vacuum")
    assert 25 < vacuum["p50_minutes"] < 50
    assert 0 < vacuum["observations"] < asked(api)["observations"]
    assert vacuum["finished"] == 0


def test_the_figures_are_asked_for_one_size_one_dirt_and_one_person(scene: Scene) -> None:
    finished(scene, 20, minutes=40)
    finished(scene, 20, minutes=80, person=scene.manager)
    api = scene.workshop_api()
    tam, milo = (
        asked(api, person=person.pk)["p50_minutes"] for person in (scene.valeter, scene.manager)
    )
    assert tam < asked(api)["p50_minutes"] < milo
    clean, filthy = (asked(api, soiling=level)["p50_minutes"] for level in (1, 5))
    assert clean < filthy
    small, van = (asked(api, body_size=size)["p50_minutes"] for size in ("small", "large_van"))
    assert small < van


def test_the_person_with_most_of_the_spells_did_it(scene: Scene) -> None:
    tasks = finished(scene, 12, minutes=80, person=scene.manager)
    finished(scene, 12, minutes=35)
    for task in tasks:  # Odile looked in on each, once
        task.spells.create(person=scene.manager, started_at=now())
        task.spells.create(person=scene.owner, started_at=now())
    api = scene.workshop_api()
    milo, odile = (
        asked(api, person=person.pk)["p50_minutes"] for person in (scene.manager, scene.owner)
    )
    assert milo > odile


def test_minutes_that_are_asked_about_wait_and_are_counted(scene: Scene) -> None:
    finished(scene, 4, minutes=40)
    finished(scene, 2, minutes=900, doubt="asked")
    answer = done(scene.workshop_api().get(f"{PATH}?operation=wash_body"))
    (wash,) = answer["operations"]
    assert (wash["finished"], wash["waiting"], answer["waiting"]) == (4, 2, 2)
    assert wash["p50_minutes"] < 45
    assert [task["minutes"] for task in answer["asked"]] == [900, 900]
    assert {task["registration"] for task in answer["asked"]} == {"TU21 ABZ"}
    Task.objects.filter(doubt="asked").update(doubt="forgotten", told_minutes=40)
    assert asked(scene.workshop_api())["finished"] == 6
    assert asked(scene.workshop_api())["p50_minutes"] < 45


def test_minutes_that_somebody_called_right_count_as_measured(scene: Scene) -> None:
    finished(scene, 10, minutes=200, doubt="right")
    assert asked(scene.workshop_api())["p50_minutes"] > 100


def test_tasks_without_a_clock_and_tasks_not_finished_do_not_count(scene: Scene) -> None:
    finished(scene, 2, minutes=0)
    arrived(scene)
    wash = asked(scene.workshop_api())
    assert (wash["finished"], wash["unmeasured"], wash["observations"]) == (0, 2, 0)


def test_another_workshops_history_is_not_ours(scene: Scene) -> None:
    finished(scene, 30, minutes=90, workshop=scene.stranger_workshop)
    assert asked(scene.workshop_api())["p50_minutes"] == 35
    assert asked(key_api(scene.stranger_workshop))["p50_minutes"] > 60


def test_our_own_minutes_for_an_operation_are_the_standard(scene: Scene) -> None:
    api = scene.workshop_api()
    done(api.patch("/operations/wash_body", {"standard_minutes": 50}))
    wash = asked(api)
    assert (wash["standard_minutes"], wash["p50_minutes"]) == (50, 50)


def test_the_newest_two_thousand_tasks_count(scene: Scene, monkeypatch: Any) -> None:
    monkeypatch.setattr("jobs.work.selectors.minutes.NEWEST_TASKS", 5)
    finished(scene, 5, minutes=90)
    finished(scene, 5, minutes=35)
    answer = done(scene.workshop_api().get(PATH))
    assert answer["learnt_from"] == 5
    assert asked(scene.workshop_api())["p50_minutes"] == 35


def test_a_valeter_sees_the_figures_and_the_own_ones_but_no_colleagues(scene: Scene) -> None:
    finished(scene, 5)
    tam = person_api(scene.valeter)
    assert asked(tam)["finished"] == 5
    assert asked(tam, person=scene.valeter.pk)["p50_minutes"] > 35
    refused(tam.get(f"{PATH}?person={scene.manager.pk}"), 403, "not-allowed")
    assert asked(person_api(scene.manager), person=scene.valeter.pk)["p50_minutes"] > 35


def test_somebody_of_another_organisation_is_not_found(scene: Scene) -> None:
    for person in (scene.staff.pk, NOWHERE):
        answer = refused(scene.workshop_api().get(f"{PATH}?person={person}"), 404, "not-found")
        assert answer["status"] == 404


@pytest.mark.parametrize(
    ("query", "wrong"),
    [
        ("soiling=6", ["soiling"]),
        ("soiling=0&body_size=lorry", ["body_size", "soiling"]),
        ("person=Tam", ["person"]),
        ("dirt=3", ["dirt"]),
    ],
)
def test_a_question_that_is_not_right_names_every_field(
    scene: Scene, query: str, wrong: list[str]
) -> None:
    assert sorted(fields(scene.workshop_api().get(f"{PATH}?{query}"))) == wrong


def test_an_operation_that_is_not_done_here_is_not_found(scene: Scene) -> None:
    answer = refused(scene.workshop_api().get(f"{PATH}?operation=roof_box"), 404, "not-found")
    assert answer["status"] == 404


def test_the_figures_take_a_handful_of_queries(
    scene: Scene, django_assert_num_queries: Any
) -> None:
    finished(scene, 30)
    finished(scene, 3, minutes=900, doubt="asked")
    api = scene.workshop_api()
    done(api.get("/soiling-levels"))  # the first use of a key is written down
    # The key, the catalogue, the finished, those asked about, who did these.
    with django_assert_num_queries(5):
        done(api.get(PATH))
    with django_assert_num_queries(6):
        done(api.get(f"{PATH}?person={scene.valeter.pk}"))


def test_a_car_is_foretold_by_task_and_as_a_whole(scene: Scene) -> None:
    finished(scene, 20, minutes=60)
    job, api = arrived(scene, operations=["wash_body", "vacuum", "glass"]), scene.workshop_api()
    estimate = done(api.get(f"/jobs/{job['id']}/estimate"))
    assert [task["operation"] for task in estimate["tasks"]] == ["wash_body", "vacuum", "glass"]
    assert (estimate["job_id"], estimate["learnt_from"]) == (job["id"], 20)
    likely = sum(task["p50_minutes"] for task in estimate["tasks"])
    within = sum(task["p80_minutes"] for task in estimate["tasks"])
    assert likely < estimate["p50_minutes"] < estimate["p80_minutes"] < within
    assert estimate["tasks"][0]["observations"] > estimate["observations"] > 0


def test_a_dirty_van_takes_longer_than_a_clean_small_car(scene: Scene) -> None:
    api = scene.workshop_api()
    small = arrived(scene, body_size="small")
    van = arrived(scene, body_size="large_van", dealer_ref="PX-2", registration="JX19 KLM")
    done(api.post(f"/jobs/{small['id']}/soiling", {"level": 1}))
    done(api.post(f"/jobs/{van['id']}/soiling", {"level": 5}))
    clean, dirty = (done(api.get(f"/jobs/{job['id']}/estimate")) for job in (small, van))
    assert (clean["soiling"], dirty["soiling"]) == (1, 5)
    assert dirty["p50_minutes"] > 3 * clean["p50_minutes"]


def rest(asked_for: float, worked: float) -> tuple[int, int]:
    """Return what SciPy says is left where nothing is known but our standard minutes."""
    terms = (*BELIEFS.spreads, *UNKNOWN, BELIEFS.error, BELIEFS.shared)
    deviation = sum(term**2 for term in terms) ** 0.5
    time = stats.lognorm(deviation, scale=asked_for)
    chance = time.sf(worked)
    return round(time.isf(0.5 * chance) - worked), round(time.isf(0.2 * chance) - worked)


def test_finished_tasks_and_worked_minutes_are_left_out_of_the_estimate(scene: Scene) -> None:
    with time_machine.travel(NINE, tick=False) as clock:
        job, tam = arrived(scene), person_api(scene.valeter)
        first, second = detail(tam, job)["tasks"]
        done(tam.post(f"/jobs/{job['id']}/tasks/{first['id']}/start"))
        done(tam.post(f"/jobs/{job['id']}/tasks/{first['id']}/finish"))
        before = done(tam.get(f"/jobs/{job['id']}/estimate"))
        done(tam.post(f"/jobs/{job['id']}/tasks/{second['id']}/start"))
        clock.shift(timedelta(minutes=12))
        after = done(tam.get(f"/jobs/{job['id']}/estimate"))
        (left,) = after["tasks"]
        assert (left["task_id"], left["state"]) == (second["id"], "started")
        assert (left["worked_minutes"], before["tasks"][0]["worked_minutes"]) == (12, 0)
        assert (left["p50_minutes"], left["p80_minutes"]) == rest(25, 12)
        assert (after["p50_minutes"], after["p80_minutes"]) == rest(25, 12)
        assert after["p50_minutes"] < before["p50_minutes"] == 25
        Task.objects.update(state="dropped")
        nothing = done(tam.get(f"/jobs/{job['id']}/estimate"))
    assert (nothing["p50_minutes"], nothing["p80_minutes"], nothing["tasks"]) == (0, 0, [])


def worked_on(api: Api, job: Any) -> int:
    """Return the minutes that were worked on the first open task of a car."""
    return int(done(api.get(f"/jobs/{job['id']}/estimate"))["tasks"][0]["worked_minutes"])


def test_time_on_hold_and_on_another_car_is_not_worked(scene: Scene) -> None:
    with time_machine.travel(NINE, tick=False) as clock:
        job, tam = arrived(scene), person_api(scene.valeter)
        second_job = arrived(scene, dealer_ref="PX-2", registration="TU21 ABD")
        path, beside = (
            f"/jobs/{car['id']}/tasks/{detail(tam, car)['tasks'][0]['id']}"
            for car in (job, second_job)
        )
        done(tam.post(f"{path}/start"))
        clock.shift(timedelta(minutes=10))
        done(tam.post(f"/jobs/{job['id']}/holds", {"cause": "parts"}))
        clock.shift(timedelta(minutes=30))
        held = detail(tam, job)["holds"][0]["id"]
        done(tam.post(f"/jobs/{job['id']}/holds/{held}/release"))
        clock.shift(timedelta(minutes=5))
        assert worked_on(tam, job) == 15
        done(tam.post(f"{beside}/start"))
        clock.shift(timedelta(minutes=20))
        done(tam.post(f"{beside}/finish"))
        assert worked_on(tam, job) == 15


def test_a_task_taken_up_again_was_worked_as_long_as_somebody_told(scene: Scene) -> None:
    """And not the hours of the clock that was forgotten, in what is left of the plan either."""
    with time_machine.travel(NINE, tick=False) as clock:
        job, tam = arrived(scene), person_api(scene.valeter)
        task = detail(tam, job)["tasks"][0]
        path = f"/jobs/{job['id']}/tasks/{task['id']}"
        done(tam.post(f"{path}/start"))
        clock.shift(timedelta(hours=3))
        done(tam.post(f"{path}/finish"))
        done(tam.post(f"{path}/minutes", {"minutes": 10}))
        done(tam.post(f"{path}/start"))
        clock.shift(timedelta(minutes=7))
        assert worked_on(tam, job) == 17
        page = text_of(signed_in(scene.manager).get("/desk/"))
    assert task["planned_minutes"] == 35
    assert f"{35 + 25 - 17} min left of the plan" in page


def test_a_clock_that_was_forgotten_leaves_a_rest_that_makes_sense(scene: Scene) -> None:
    with time_machine.travel(NINE, tick=False) as clock:
        job, api = arrived(scene, operations=["wash_body"]), scene.workshop_api()
        task = detail(api, job)["tasks"][0]["id"]
        done(api.post(f"/jobs/{job['id']}/tasks/{task}/start"))
        clock.shift(timedelta(hours=14))
        left = done(api.get(f"/jobs/{job['id']}/estimate"))
        clock.shift(timedelta(days=14))
        later = done(api.get(f"/jobs/{job['id']}/estimate"))
    assert left["tasks"][0]["worked_minutes"] == 14 * 60
    assert 0 < left["p50_minutes"] < left["p80_minutes"] < 3 * 60
    assert [later[name] for name in FIGURES] == [left[name] for name in FIGURES]


def test_an_operation_that_left_the_catalogue_goes_by_what_was_planned(scene: Scene) -> None:
    job, api = arrived(scene), scene.workshop_api()
    Task.objects.filter(operation="vacuum").update(operation="gone_by", planned_minutes=80)
    _, gone = done(api.get(f"/jobs/{job['id']}/estimate"))["tasks"]
    assert (gone["operation"], gone["p50_minutes"]) == ("gone_by", 80)


def test_a_strangers_car_is_not_found(scene: Scene) -> None:
    job = arrived(scene)
    stranger = key_api(scene.stranger_workshop)
    for job_id in (job["id"], NOWHERE):
        answer = refused(stranger.get(f"/jobs/{job_id}/estimate"), 404, "not-found")
        assert answer["status"] == 404


def test_an_estimate_takes_a_handful_of_queries(
    scene: Scene, django_assert_num_queries: Any
) -> None:
    finished(scene, 30)
    job, api = arrived(scene), scene.workshop_api()
    done(api.get("/soiling-levels"))  # the first use of a key is written down
    with django_assert_num_queries(5):  # the key, the job, its tasks, the catalogue, the finished
        done(api.get(f"/jobs/{job['id']}/estimate"))
    task = detail(api, job)["tasks"][0]["id"]
    done(person_api(scene.valeter).post(f"/jobs/{job['id']}/tasks/{task}/start"))
    with django_assert_num_queries(8):  # and the clocks, the holds, what else these people are on
        done(api.get(f"/jobs/{job['id']}/estimate"))


def test_jobs_before_anybody_noted_dirt_count_as_well(scene: Scene) -> None:
    finished(scene, 20, minutes=60, soiling=None, body_size="", person=None)
    assert asked(scene.workshop_api())["finished"] == 20
    assert asked(scene.workshop_api())["p50_minutes"] > 45
    assert Job.objects.filter(soiling__isnull=True).count() == 20
