"""One person with two clocks running: each minute counts once, for the clock started last."""

from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
import time_machine

from jobs.work.models import FlowCar, Task
from jobs.work.selectors.catalogue import catalogue_of
from jobs.work.selectors.minutes import seen_of
from tests.api.desk import signed_in
from tests.api.steps import arrived, at_once, detail, done, moved
from tests.scene import Api, Scene, make_scene, person_api

NINE = datetime(2027, 3, 1, 9, 0, tzinfo=UTC)


@pytest.fixture
def clock() -> Iterator[Any]:
    """Stop the clock at nine; the test moves it on."""
    with time_machine.travel(NINE, tick=False) as stopped:
        yield stopped


def after(minutes: float) -> str:
    return (NINE + timedelta(minutes=minutes)).isoformat()


def path_of(api: Api, job: Any, index: int = 0) -> str:
    return f"/jobs/{job['id']}/tasks/{detail(api, job)['tasks'][index]['id']}"


def start(api: Api, path: str, minutes: float, **more: Any) -> None:
    done(api.post(f"{path}/start", {"occurred_at": after(minutes), **more}))


def finish(api: Api, path: str, minutes: float, **more: Any) -> Any:
    return done(api.post(f"{path}/finish", {"occurred_at": after(minutes), **more}))


def taken(path: str) -> int | None:
    return Task.objects.get(pk=path.rpartition("/")[2]).actual_minutes


def test_each_minute_counts_for_the_clock_started_last(scene: Scene, clock: Any) -> None:
    job, tam = arrived(scene), person_api(scene.valeter)
    clock.shift(timedelta(hours=3))
    wash, vacuum = path_of(tam, job), path_of(tam, job, 1)
    start(tam, wash, 0)
    start(tam, vacuum, 10)
    assert finish(tam, vacuum, 30)["actual_minutes"] == 20
    assert finish(tam, wash, 40)["actual_minutes"] == 20


def test_the_earlier_clock_that_ends_first_counts_until_the_later_one_began(
    scene: Scene, clock: Any
) -> None:
    job, tam = arrived(scene), person_api(scene.valeter)
    clock.shift(timedelta(hours=3))
    wash, vacuum = path_of(tam, job), path_of(tam, job, 1)
    start(tam, wash, 0)
    start(tam, vacuum, 20)
    assert finish(tam, wash, 50)["actual_minutes"] == 20
    assert finish(tam, vacuum, 60)["actual_minutes"] == 40


def test_clocks_of_two_cars_share_as_well_and_those_of_two_people_do_not(
    scene: Scene, clock: Any
) -> None:
    first = arrived(scene)
    second = arrived(scene, dealer_ref="PX-2", registration="TU21 ABD")
    tam, milo = person_api(scene.valeter), person_api(scene.manager)
    clock.shift(timedelta(hours=3))
    first_path, second_path = path_of(tam, first), path_of(tam, second)
    start(tam, first_path, 0)
    start(tam, second_path, 30)
    start(milo, second_path, 30)
    assert finish(tam, second_path, 60)["actual_minutes"] == 60
    assert finish(tam, first_path, 90)["actual_minutes"] == 60


def test_clocks_without_a_name_may_be_two_peoples(scene: Scene, clock: Any) -> None:
    job, system = arrived(scene), scene.workshop_api()
    clock.shift(timedelta(hours=3))
    wash, vacuum = path_of(system, job), path_of(system, job, 1)
    start(system, wash, 0)
    start(system, vacuum, 0)
    assert finish(system, wash, 30)["actual_minutes"] == 30
    assert finish(system, vacuum, 30)["actual_minutes"] == 30


def test_while_the_later_clocks_car_is_held_the_minutes_are_the_earlier_ones(
    scene: Scene, clock: Any
) -> None:
    first = arrived(scene)
    second = arrived(scene, dealer_ref="PX-2", registration="TU21 ABD")
    tam = person_api(scene.valeter)
    clock.shift(timedelta(hours=3))
    first_path, second_path = path_of(tam, first), path_of(tam, second)
    start(tam, first_path, 0)
    start(tam, second_path, 20)
    hold = {"cause": "parts", "occurred_at": after(30)}
    done(tam.post(f"/jobs/{second['id']}/holds", hold))
    assert finish(tam, first_path, 60)["actual_minutes"] == 20 + 30
    assert finish(tam, second_path, 60)["actual_minutes"] == 10


def test_a_clock_told_of_late_takes_its_minutes_from_the_one_that_was_counted(
    scene: Scene, clock: Any
) -> None:
    first = arrived(scene)
    second = arrived(scene, dealer_ref="PX-2", registration="TU21 ABD")
    tam, milo = person_api(scene.valeter), person_api(scene.manager)
    clock.shift(timedelta(hours=3))
    first_path, second_path = path_of(tam, first), path_of(tam, second)
    start(tam, first_path, 0)
    start(milo, first_path, 0)
    assert finish(tam, first_path, 60)["actual_minutes"] == 120
    start(tam, second_path, 20)
    assert taken(first_path) == 20 + 60
    finish(tam, second_path, 45)
    assert (taken(first_path), taken(second_path)) == (35 + 60, 25)


def test_a_hold_told_of_late_gives_the_minutes_back_to_the_other_car(
    scene: Scene, clock: Any
) -> None:
    first = arrived(scene)
    second = arrived(scene, dealer_ref="PX-2", registration="TU21 ABD")
    tam = person_api(scene.valeter)
    clock.shift(timedelta(hours=3))
    first_path, second_path = path_of(tam, first), path_of(tam, second)
    start(tam, first_path, 0)
    start(tam, second_path, 20)
    finish(tam, first_path, 60)
    finish(tam, second_path, 60)
    assert (taken(first_path), taken(second_path)) == (20, 40)
    done(tam.post(f"/jobs/{second['id']}/holds", {"cause": "parts", "occurred_at": after(30)}))
    assert (taken(first_path), taken(second_path)) == (50, 10)
    held = detail(tam, second)["holds"][0]["id"]
    ended = {"occurred_at": after(50)}
    done(tam.post(f"/jobs/{second['id']}/holds/{held}/release", ended))
    assert (taken(first_path), taken(second_path)) == (40, 20)


def test_minutes_that_another_clock_took_whole_are_asked_about(scene: Scene, clock: Any) -> None:
    job, tam = arrived(scene), person_api(scene.valeter)
    clock.shift(timedelta(hours=3))
    wash, vacuum = path_of(tam, job), path_of(tam, job, 1)
    start(tam, wash, 0)
    finish(tam, wash, 30)
    assert Task.objects.get(pk=wash.rpartition("/")[2]).doubt == ""
    start(tam, vacuum, 0)
    finish(tam, vacuum, 30)
    first = Task.objects.get(pk=wash.rpartition("/")[2])
    assert (first.actual_minutes, first.doubt) == (0, "asked")
    assert seen_of(scene.workshop.pk, catalogue_of(scene.workshop.pk)).counted["wash_body"] == 0


def test_the_day_of_one_person_has_no_more_minutes_than_it_lasted(scene: Scene, clock: Any) -> None:
    job, tam = arrived(scene), person_api(scene.valeter)
    clock.shift(timedelta(hours=3))
    start(tam, path_of(tam, job), 0)
    start(tam, path_of(tam, job, 1), 30)
    desk = signed_in(scene.manager)
    assert dict(desk.get("/desk/log").context["worked"]) == {"Tam Brackley": 180}


def test_what_is_left_on_the_board_counts_each_minute_once(scene: Scene, clock: Any) -> None:
    """35 and 20 minutes planned, and 30 minutes worked, not 50."""
    job = moved(scene.workshop_api(), arrived(scene), "cleaning")
    tam = person_api(scene.valeter)
    planned = sum(task["planned_minutes"] for task in detail(tam, job)["tasks"])
    clock.shift(timedelta(minutes=30))
    start(tam, path_of(tam, job), 0)
    start(tam, path_of(tam, job, 1), 20)
    desk = signed_in(scene.manager)
    ((row,),) = (group.rows for group in desk.get("/desk/").context["groups"])
    work = row.car.work
    assert (work.left, work.people) == (planned - 30, ["Tam Brackley"])
    assert desk.get("/desk/due").context["load"].undated.minutes == planned - 30
    rows = desk.get(f"/desk/cars/{job['id']}").context["car"].tasks
    assert [row.minutes for row in rows] == [20, 10]


def test_a_finished_cars_worked_time_is_not_told_twice(scene: Scene, clock: Any) -> None:
    first = arrived(scene)
    second = arrived(scene, dealer_ref="PX-2", registration="TU21 ABD")
    tam, system = person_api(scene.valeter), scene.workshop_api()
    clock.shift(timedelta(hours=3))
    first_path, second_path = path_of(tam, first), path_of(tam, second)
    for job in (first, second):
        move = {"to": "cleaning", "version": job["version"], "occurred_at": after(0)}
        done(system.post(f"/jobs/{job['id']}/moves", move))
    start(tam, first_path, 0)
    start(tam, second_path, 30)
    finish(tam, second_path, 60)
    finish(tam, first_path, 60)
    for job in (first, second):
        move = {
            "to": "ready",
            "version": detail(system, job)["version"],
            "occurred_at": after(60),
            "confirm": True,
        }
        done(system.post(f"/jobs/{job['id']}/moves", move))
    kept = [FlowCar.objects.get(pk=job["id"]) for job in (first, second)]
    assert [car.person_seconds for car in kept] == [1800, 1800]
    assert [car.cleaning_working for car in kept] == [1800, 1800]
    assert [car.cleaning_nobody_on_it for car in kept] == [1800, 1800]


def test_only_the_car_whose_clock_was_started_last_is_worked_on_now(
    scene: Scene, clock: Any
) -> None:
    first = arrived(scene)
    second = arrived(scene, dealer_ref="PX-2", registration="TU21 ABD")
    tam, system = person_api(scene.valeter), scene.workshop_api()
    clock.shift(timedelta(hours=3))
    start(tam, path_of(tam, first), 0)
    start(tam, path_of(tam, second), 30)

    def now_by_cause() -> dict[str, int]:
        rows = done(system.get("/flow"))["in_work"]
        return {row["cause"]: row["cars"] for row in rows}

    assert now_by_cause() == {"working": 1, "nobody_on_it": 1}
    done(system.post(f"/jobs/{second['id']}/holds", {"cause": "parts"}))
    assert now_by_cause() == {"working": 1, "parts": 1}


def test_the_desks_page_of_a_car_counts_what_a_clock_on_another_car_took(
    scene: Scene, clock: Any
) -> None:
    first = arrived(scene)
    second = arrived(scene, dealer_ref="PX-2", registration="TU21 ABD")
    tam = person_api(scene.valeter)
    clock.shift(timedelta(minutes=60))
    start(tam, path_of(tam, first), 0)
    start(tam, path_of(tam, second), 10)
    hold = {"cause": "parts", "occurred_at": after(40)}
    done(tam.post(f"/jobs/{second['id']}/holds", hold))
    desk = signed_in(scene.manager)
    minutes = {
        job["dealer_ref"]: [
            row.minutes for row in desk.get(f"/desk/cars/{job['id']}").context["car"].tasks
        ]
        for job in (first, second)
    }
    assert minutes == {"PX-1042": [10 + 20, 0], "PX-2": [30, 0]}


@pytest.mark.django_db(transaction=True)
def test_two_cars_finished_at_the_same_moment_share_the_minutes() -> None:
    """Both ends are counted one after the other, so neither misses what the other one took."""
    with time_machine.travel(NINE, tick=True) as running:
        scene = make_scene()
        first = arrived(scene)
        second = arrived(scene, dealer_ref="PX-2", registration="TU21 ABD")
        tam, again = person_api(scene.valeter), person_api(scene.valeter)
        running.shift(timedelta(hours=3))
        first_path, second_path = path_of(tam, first), path_of(tam, second)
        start(tam, first_path, 0)
        start(tam, second_path, 30)
        at_once(lambda: finish(tam, first_path, 60), lambda: finish(again, second_path, 45))
        assert (taken(first_path), taken(second_path)) == (45, 15)
