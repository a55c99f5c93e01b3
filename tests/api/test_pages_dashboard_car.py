"""One car's page: its story, what is acknowledged with one tap, and what is answered with one."""

import re
from datetime import timedelta
from typing import Any

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from core.clock import now
from jobs.work.models import Finding, WorkRequest
from tests.api.asking import answer, asked, opened, past_its_time, reply, withdraw
from tests.api.found import CLICK, PAPERS, STOP, found
from tests.api.looked import MOST_QUERIES, page, tight, words
from tests.api.pictures import upload
from tests.api.steps import NOWHERE, arrived, done, moved, posted, ready
from tests.scene import Scene, key_api, person_api

pytestmark = pytest.mark.django_db
BAD = "<script>alert(1)</script>"


@pytest.fixture
def staff(scene: Scene) -> Client:
    return person_api(scene.staff).client


def address(job: Any) -> str:
    return f"/dashboard/cars/{job['id']}"


def press(client: Client, request: Any, button: str, word: str = "", query: str = "") -> Any:
    way = f"/dashboard/requests/{request['id']}/answer{query}"
    return client.post(way, {"answer": button, "word": word})


def measured(scene: Scene, job: Any) -> None:
    spots = [
        {"panel": panel, "material": "steel", "readings": [base, base + 3, base - 2]}
        for panel, base in (("bonnet", 118), ("roof", 112), ("left_front_door", 264),
                            ("right_front_door", 121), ("left_front_wing", 115),
                            ("right_front_wing", 119), ("tailgate", 117))
    ]  # fmt: skip
    done(scene.workshop_api().post(f"/jobs/{job['id']}/paint-readings", {"spots": spots}))


def walked(scene: Scene, job: Any, occasion: str, **more: Any) -> None:
    body = {"occasion": occasion, "warning_lights": [], "damage": [], **more}
    done(scene.workshop_api().post(f"/jobs/{job['id']}/walk-rounds", body))


def rich(scene: Scene) -> Any:
    """Return a car with something of everything."""
    workshop = scene.workshop_api()
    job = arrived(scene, notes="Dog hair in the boot.")
    walked(scene, job, "arrival", mileage=41250, keys_count=2)
    before = done(upload(workshop, job, moment="before", view="front"))
    job = moved(workshop, job, "cleaning", "correction")
    done(upload(workshop, job, moment="after", view="front"))
    shot = done(upload(workshop, job, caption="Bird lime"))
    found(workshop, job, CLICK, photo_ids=[shot["id"]])
    found(workshop, job, PAPERS)
    measured(scene, job)
    request = opened(workshop, job, price="64.00", photo_ids=[shot["id"]])
    asked(scene.dealer_api(), request)
    done(reply(workshop, request))
    assert before
    return job


def test_it_tells_the_whole_story_in_a_dozen_queries(scene: Scene, staff: Client) -> None:
    job = rich(scene)
    page(staff, address(job))
    with CaptureQueriesContext(connection) as queries:
        html = page(staff, address(job))
    assert len(queries) <= MOST_QUERIES, [query["sql"] for query in queries]
    said = words(html)
    for sentence in (
        "Correction , at Fernhollow Valeting", "Approve 64.00 GBP", "Would a hand polish do?",
        "For a week or two only.", "A regular clicking", "Before After", "Dog hair in the boot.",
        "Much thicker than the rest: left front door.", "check for a film first",
        "41250 miles", "Wash and dry the body",
    ):  # fmt: skip
        assert sentence in said, sentence
    assert 'aria-current="step">correction' in tight(html)


def test_a_before_stands_beside_its_after_and_each_picture_once(
    scene: Scene, staff: Client
) -> None:
    html = page(staff, address(rich(scene)))
    sources = re.findall(r'<img src="(/api/v1/photos/[^"]+)" alt="([^"]+)"', html)
    said = [alt for _, alt in sources]
    assert said.count("From the front, before the work") == 1
    assert said.count("From the front, after the work") == 1
    assert said.count("Bird lime") == 2  # of the finding and of the request
    assert staff.get(sources[0][0].replace("&amp;", "&")).headers["Content-Type"] == "image/jpeg"


def test_what_differs_between_arrival_and_leaving_is_told(scene: Scene, staff: Client) -> None:
    job = arrived(scene)
    walked(scene, job, "arrival", keys_count=2)
    walked(scene, job, "leaving", keys_count=1)
    assert "Arrival and leaving compared" in page(staff, address(job))


@pytest.mark.parametrize("body", [CLICK, STOP, {**CLICK, "weight": "for_information"}])
def test_a_finding_is_acknowledged_with_one_tap_and_twice_is_no_error(
    scene: Scene, staff: Client, body: Any
) -> None:
    job = arrived(scene)
    finding = found(scene.workshop_api(), job, body)
    way = f"/dashboard/findings/{finding['id']}/acknowledge"
    assert way in page(staff, address(job))
    first = staff.post(way)
    assert first.status_code == 303
    assert first.headers["Location"] == address(job)
    kept = Finding.objects.get()
    assert kept.acknowledged_by == "Ines Okafor-Lind"
    assert staff.post(f"{way}?from=board").headers["Location"] == "/dashboard/"
    assert Finding.objects.get().acknowledged_at == kept.acknowledged_at
    assert way not in page(staff, address(job))


def test_all_findings_of_a_car_are_acknowledged_at_once_but_not_a_do_not_drive(
    scene: Scene, staff: Client
) -> None:
    workshop, job = scene.workshop_api(), arrived(scene)
    found(workshop, job, CLICK)
    found(workshop, job, PAPERS)
    stop = found(workshop, job, STOP)
    way = f"{address(job)}/acknowledge"
    assert "Acknowledge all 2 but “do not drive”" in words(page(staff, address(job)))
    assert "Acknowledged: 2." in staff.post(way, follow=True).content.decode()
    assert str(Finding.objects.get(acknowledged_at=None).pk) == stop["id"]
    assert way not in page(staff, address(job))
    assert "acknowledged before" in staff.post(way, follow=True).content.decode()


def test_do_not_drive_is_told_in_strong_words_and_stays_after_the_acknowledgement(
    scene: Scene, staff: Client
) -> None:
    job = arrived(scene)
    finding = found(scene.workshop_api(), job, STOP)
    assert "on hold" in words(page(staff, address(job)))
    answer = staff.post(f"/dashboard/findings/{finding['id']}/acknowledge", follow=True)
    said = words(answer.content.decode())
    assert "Nobody moves the car until it is repaired or transported" in said
    assert "<strong>Do not drive this car.</strong>" in answer.content.decode()
    assert "on hold" in said


@pytest.mark.parametrize(("word", "state"), [("approve", "approved"), ("decline", "declined")])
def test_a_request_is_answered_with_one_tap(
    scene: Scene, staff: Client, word: str, state: str
) -> None:
    job = arrived(scene)
    request = opened(scene.workshop_api(), job, price="38.00")
    answered = press(staff, request, word, query="?from=board")
    assert answered.headers["Location"] == "/dashboard/"
    assert WorkRequest.objects.get().state == state
    assert state.capitalize() in words(page(staff))
    assert state in words(page(staff, address(job)))


def test_a_question_goes_to_the_workshop_with_its_words(scene: Scene, staff: Client) -> None:
    job = arrived(scene)
    request = opened(scene.workshop_api(), job)
    answered = press(staff, request, "ask", word="Would a hand polish do?")
    assert answered.headers["Location"] == address(job)
    assert WorkRequest.objects.get().messages.get().text == "Would a hand polish do?"
    assert "Would a hand polish do?" in page(staff, address(job))
    assert "has not replied yet" in page(staff)


def test_a_word_goes_with_an_answer(scene: Scene, staff: Client) -> None:
    request = opened(scene.workshop_api(), arrived(scene))
    press(staff, request, "decline", word="Sold as it stands.")
    assert WorkRequest.objects.get().closed_note == "Sold as it stands."


def test_a_question_without_words_says_what_to_do(scene: Scene, staff: Client) -> None:
    request = opened(scene.workshop_api(), arrived(scene))
    answered = press(staff, request, "ask")
    assert answered.status_code == 400
    assert "Write your question first" in answered.content.decode()
    assert WorkRequest.objects.get().state == "open"


def test_a_word_that_is_too_long_is_kept_in_the_form(scene: Scene, staff: Client) -> None:
    request = opened(scene.workshop_api(), arrived(scene))
    answered = press(staff, request, "approve", word="x" * 501)
    assert answered.status_code == 400
    assert "x" * 501 in answered.content.decode()
    assert WorkRequest.objects.get().state == "open"


@pytest.mark.parametrize("word", ["", "perhaps"])
def test_a_button_that_is_none_answers_nothing(scene: Scene, staff: Client, word: str) -> None:
    request = opened(scene.workshop_api(), arrived(scene))
    assert press(staff, request, word).status_code == 400
    assert WorkRequest.objects.get().state == "open"


def test_whoever_answers_too_late_sees_what_stands(scene: Scene, staff: Client) -> None:
    job = arrived(scene)
    lapsing = opened(scene.workshop_api(), job)
    with past_its_time(lapsing):
        late = press(person_api(scene.staff).client, lapsing, "approve")
    assert late.status_code == 409
    assert "This request is lapsed" in late.content.decode()
    assert WorkRequest.objects.get().state == "lapsed"
    gone = opened(scene.workshop_api(), job, what="Clean the lenses")
    done(withdraw(scene.workshop_api(), gone))
    assert press(staff, gone, "approve").status_code == 409
    colleague = opened(scene.workshop_api(), job, what="Wax it")
    done(answer(scene.dealer_api(), colleague, "decline"))
    assert "Not sent." in press(staff, colleague, "approve").content.decode()


def test_other_dealers_cars_findings_and_requests_are_not_there(
    scene: Scene, staff: Client
) -> None:
    theirs = posted(key_api(scene.stranger_dealer), registration="JX19 KLM")
    workshop = key_api(scene.stranger_workshop)
    done(workshop.post(f"/jobs/{theirs['id']}/arrival"))
    finding, request = found(workshop, theirs, CLICK), opened(workshop, theirs)
    for job_id in (theirs["id"], NOWHERE):
        assert staff.get(f"/dashboard/cars/{job_id}").status_code == 404
        assert staff.get(f"/dashboard/cars/{job_id}/change").status_code == 404
        assert staff.post(f"/dashboard/cars/{job_id}/cancel").status_code == 404
        assert staff.post(f"/dashboard/cars/{job_id}/acknowledge").status_code == 404
    for finding_id in (finding["id"], NOWHERE):
        assert staff.post(f"/dashboard/findings/{finding_id}/acknowledge").status_code == 404
    for request_id in (request["id"], NOWHERE):
        assert press(staff, {"id": request_id}, "approve").status_code == 404
    assert WorkRequest.objects.get().state == "open"
    assert Finding.objects.get().acknowledged_at is None


def test_markup_in_what_others_wrote_is_text(scene: Scene, staff: Client) -> None:
    workshop = scene.workshop_api()
    fields = ("make", "model", "colour", "location", "keys", "notes", "contact_name", "dealer_ref")
    job = ready(scene, supplied=[BAD], **dict.fromkeys(fields, BAD))
    walked(scene, job, "arrival", notes=BAD, damage=[{"area": "bonnet", "noticed": BAD}])
    found(workshop, job, CLICK, noticed=BAD, circumstance=BAD, advice=BAD)
    shot = done(upload(workshop, job, caption=f'"><img src=x>{BAD}'))
    request = opened(workshop, job, what=BAD, why=BAD, if_not_done=BAD, photo_ids=[shot["id"]])
    asked(scene.dealer_api(), request, BAD)
    html = page(staff, address(job))
    assert "<script>alert" not in html
    assert "<img src=x" not in html
    assert html.count("&lt;script&gt;alert") >= 16


def test_the_workshops_key_and_people_see_no_dealers_page(scene: Scene) -> None:
    job = arrived(scene)
    assert person_api(scene.owner).client.get(address(job)).status_code == 403
    assert Client().get(address(job)).status_code == 401


def test_a_cured_car_says_until_when_it_cures(scene: Scene, staff: Client) -> None:
    workshop = scene.workshop_api()
    job = arrived(scene, operations=["coating"])
    tasks = done(workshop.get(f"/jobs/{job['id']}"))["tasks"]
    begun = {"occurred_at": (now() - timedelta(minutes=10)).isoformat()}
    done(workshop.post(f"/jobs/{job['id']}/tasks/{tasks[0]['id']}/start", begun))
    done(workshop.post(f"/jobs/{job['id']}/tasks/{tasks[0]['id']}/finish"))
    shown = words(page(staff, address(job)))
    assert "Something on it still cures or dries." in shown
    assert re.search(
        r"Apply a hard coating : cures, done between .+? and .+? \. Keep it from rain", shown
    )
