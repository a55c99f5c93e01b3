"""How long work takes, at the desk: figures in words, and questions with two answers."""

from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
import time_machine
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from jobs.work.models import Task
from tests.api.desk import MOST_QUERIES, signed_in, text_of
from tests.api.looked import tight
from tests.api.steps import NOWHERE, arrived, detail, done, history
from tests.api.worked import finished
from tests.scene import Scene, person_api

PAGE = "/desk/durations"
NINE = datetime(2027, 3, 1, 9, 0, tzinfo=UTC)
MOST_BYTES = 60 * 1024
pytestmark = pytest.mark.django_db


def shown(desk: Client, query: str = "") -> Any:
    """Return the page."""
    answer = desk.get(f"{PAGE}{query}")
    assert answer.status_code == 200
    return answer


def row(answer: Any, code: str = "wash_body") -> Any:
    """Return the line of one operation."""
    rows = [line for _, some in answer.context["groups"] for line in some]
    return next(line for line in rows if line.time.operation.code == code)


def asked(scene: Scene) -> tuple[Task, str]:
    """Return a task that is asked about, and where its answer goes."""
    (task,) = finished(scene, 1, minutes=840, doubt="asked")
    return task, f"/desk/cars/{task.job_id}/tasks/{task.pk}/minutes"


def test_without_history_the_standard_speaks_alone(scene: Scene) -> None:
    answer = shown(signed_in(scene.manager))
    assert "the standard speaks alone" in text_of(answer)
    assert "Is this right?" not in text_of(answer)
    assert (row(answer).likely, row(answer).says) == (35, "nothing yet")


def test_the_more_is_finished_the_more_the_history_says(scene: Scene) -> None:
    desk, said = signed_in(scene.owner), []
    for count in (1, 10, 40):
        finished(scene, count, minutes=60)
        said.append(row(shown(desk)).says)
    assert said == ["little", "some", "much"]
    page = text_of(shown(desk))
    assert "Learnt from your newest 51 finished tasks." in page
    assert "51 finished" in page
    assert 50 < row(shown(desk)).likely <= 60


def test_the_drawing_sets_likely_and_four_of_five_beside_the_standard(scene: Scene) -> None:
    finished(scene, 60, minutes=70)
    drawn = row(shown(signed_in(scene.manager)))
    assert drawn.standard_at == pytest.approx(40)
    assert drawn.standard_at * 1.8 < drawn.bar_from < drawn.standard_at * 2.1
    assert drawn.bar_from + drawn.bar_width <= 100
    finished(scene, 60, code="glass", minutes=900)
    far = row(shown(signed_in(scene.manager)), "glass")
    assert (far.bar_from, far.bar_width) == (100, 1)


def test_the_figures_are_narrowed_to_some_cars_and_one_person(scene: Scene) -> None:
    finished(scene, 20, minutes=70, person=scene.manager)
    finished(scene, 20, minutes=35)
    desk = signed_in(scene.manager)
    clean, filthy = (row(shown(desk, f"?soiling={level}")).likely for level in (1, 5))
    assert clean < filthy
    tam, milo = (
        row(shown(desk, f"?person={person.pk}")).likely for person in (scene.valeter, scene.manager)
    )
    assert tam < milo
    chosen = text_of(shown(desk, f"?person={scene.valeter.pk}&body_size=large_van"))
    assert f'<option value="{scene.valeter.pk}" selected>' in chosen
    assert '<option value="large_van" selected>' in chosen


def test_a_choice_that_there_is_not_narrows_nothing_and_is_named(scene: Scene) -> None:
    page = text_of(shown(signed_in(scene.manager), "?soiling=9"))
    assert 'id="soiling-wrong"' in page
    assert "Wash and dry the body" in page


def test_a_task_that_is_asked_about_is_shown_with_what_would_be_likely(scene: Scene) -> None:
    task, _ = asked(scene)
    page = text_of(shown(signed_in(scene.manager)))
    assert "Is this right? (1)" in page
    assert "14 h measured; 35 min would be likely." in page
    assert "Tam Brackley, finished" in page
    assert f'for="minutes-{task.pk}"' in page
    assert "1 waits for an answer" in page


def test_a_clock_of_less_than_a_minute_is_asked_how_long_it_took(scene: Scene) -> None:
    task, answer_at = asked(scene)
    Task.objects.filter(pk=task.pk).update(actual_minutes=0)
    page = text_of(shown(signed_in(scene.manager)))
    assert "The clock ran for less than a minute; 35 min would be likely." in page
    assert "It is right" not in page
    refused = signed_in(scene.manager).post(answer_at, {"right": "true"})
    assert "No minutes were measured that could be right" in text_of(refused, 400)
    page = text_of(signed_in(scene.manager).post(answer_at, {"minutes": "30"}, follow=True))
    assert "Wash and dry the body: 30 minutes count." in page


def test_one_button_says_that_it_is_right(scene: Scene) -> None:
    task, answer_at = asked(scene)
    page = text_of(signed_in(scene.manager).post(answer_at, {"right": "true"}, follow=True))
    task.refresh_from_db()
    assert (task.doubt, task.told_minutes) == ("right", None)
    assert "Wash and dry the body: 840 minutes count." in page
    assert "Is this right?" not in page


def test_a_number_says_what_it_really_took(scene: Scene) -> None:
    task, answer_at = asked(scene)
    page = text_of(signed_in(scene.manager).post(answer_at, {"minutes": "45"}, follow=True))
    task.refresh_from_db()
    assert (task.doubt, task.told_minutes, task.actual_minutes) == ("forgotten", 45, 840)
    assert "Wash and dry the body: 45 minutes count." in page
    entry = history(person_api(scene.manager), {"id": task.job_id})[-1]
    assert (entry["kind"], entry["actor"]) == ("minutes_told", "Milo Treen")


@pytest.mark.parametrize("typed", ["", "0", "an hour", "99999"])
def test_a_number_that_is_not_right_is_told_beside_its_task(scene: Scene, typed: str) -> None:
    task, answer_at = asked(scene)
    second_task, _ = asked(scene)
    page = text_of(signed_in(scene.manager).post(answer_at, {"minutes": typed}), 400)
    assert 'id="minutes-wrong"' in page
    assert 'href="#minutes"' in page
    assert 'id="minutes"' in page
    assert f'value="{typed}"' in page
    assert f'id="minutes-{second_task.pk}"' in page
    task.refresh_from_db()
    assert task.doubt == "asked"


def test_a_task_that_is_not_there_is_not_found(scene: Scene) -> None:
    task, _ = asked(scene)
    desk = signed_in(scene.manager)
    for job_id, task_id in ((task.job_id, NOWHERE), (NOWHERE, task.pk)):
        path = f"/desk/cars/{job_id}/tasks/{task_id}/minutes"
        page = text_of(desk.post(path, {"minutes": "45"}), 404)
        assert "Is this right?" not in page


def test_a_task_taken_up_again_meanwhile_is_told_above_the_page(scene: Scene) -> None:
    task, answer_at = asked(scene)
    Task.objects.update(state=Task.State.STARTED)
    page = text_of(signed_in(scene.manager).post(answer_at, {"minutes": "45"}), 409)
    assert "This task is not finished. Finish it first." in page
    task.refresh_from_db()
    assert task.told_minutes is None


def test_many_questions_are_shown_some_at_a_time(scene: Scene, monkeypatch: Any) -> None:
    monkeypatch.setattr("jobs.work.selectors.minutes.MOST_ASKED", 2)
    finished(scene, 5, minutes=840, doubt="asked")
    page = text_of(shown(signed_in(scene.manager)))
    assert "Is this right? (5)" in page
    assert page.count("It is right<") == 2
    assert "3 older ones follow when these are answered." in page


def test_the_page_stays_light_however_much_there_is(scene: Scene) -> None:
    for code in ("wash_body", "vacuum", "glass"):
        finished(scene, 30, code=code)
    finished(scene, 12, minutes=840, doubt="asked")
    desk = signed_in(scene.manager)
    with CaptureQueriesContext(connection) as asked_for:
        answer = shown(desk)
    assert len(asked_for) <= MOST_QUERIES
    assert len(answer.content) < MOST_BYTES


def test_the_set_up_page_leads_to_it(scene: Scene) -> None:
    page = text_of(signed_in(scene.manager).get("/desk/set-up"))
    assert f'href="{PAGE}"' in page


def estimate_page(desk: Client, job: Any) -> Any:
    """Return the page of how long a car takes."""
    answer = desk.get(f"/desk/cars/{job['id']}/estimate")
    assert answer.status_code == 200
    return answer


def test_what_is_left_on_a_car_is_foretold_together_and_by_task(scene: Scene) -> None:
    job = arrived(scene, operations=["wash_body", "vacuum", "glass"])
    answer = estimate_page(signed_in(scene.manager), job)
    rows, page = answer.context["rows"], text_of(answer)
    assert [(line.likely, line.says) for line in rows] == [(35, "nothing yet"), (25, "nothing yet"),
                                                           (15, "nothing yet")]  # fmt: skip
    assert sum(line.likely for line in rows) <= answer.context["likely"]
    assert answer.context["within"] < sum(line.within for line in rows)
    assert "nobody said how dirty it came in" in page


def test_what_was_worked_stands_beside_what_is_left(scene: Scene) -> None:
    with time_machine.travel(NINE, tick=False) as clock:
        job, tam = arrived(scene, operations=["wash_body", "vacuum"]), person_api(scene.valeter)
        desk = signed_in(scene.manager)
        before = estimate_page(desk, job)
        task = detail(tam, job)["tasks"][0]["id"]
        done(tam.post(f"/jobs/{job['id']}/tasks/{task}/start"))
        clock.shift(timedelta(minutes=20))
        answer = estimate_page(desk, job)
    wash, vacuum = answer.context["rows"]
    assert (wash.worked, vacuum.worked) == (20, 0)
    assert wash.likely < 35 - 10
    assert vacuum.likely >= 25
    assert before.context["likely"] - 20 < answer.context["likely"] < before.context["likely"] - 5
    page = text_of(answer)
    assert '<td data-label="Worked" class="number"><span>20 min</span></td>' in tight(page)
    assert '<td data-label="Worked" class="number"><span>\u2013</span></td>' in tight(page)
    assert "Minutes already worked are not in these figures." in page


def test_a_dirty_large_car_is_foretold_to_take_longer(scene: Scene) -> None:
    desk = signed_in(scene.manager)
    job = arrived(scene, operations=["wash_body"], body_size="large_van")
    before = estimate_page(desk, job).context["likely"]
    done(scene.workshop_api().post(f"/jobs/{job['id']}/soiling", {"level": 5}))
    answer = estimate_page(desk, job)
    assert answer.context["likely"] > 1.4 * before
    assert "a large van that came in as “filthy all through” (5 of 5)" in text_of(answer)


def test_of_a_finished_car_nothing_is_left(scene: Scene) -> None:
    (task,) = finished(scene, 1, minutes=40)
    assert "Nothing is left to do on it." in text_of(
        estimate_page(signed_in(scene.owner), {"id": task.job_id})
    )


def test_another_workshops_car_is_not_there(scene: Scene) -> None:
    desk = signed_in(scene.manager)
    assert desk.get(f"/desk/cars/{NOWHERE}/estimate").status_code == 404
