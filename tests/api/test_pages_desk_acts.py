"""What the desk does to a car: each form acts once, and a refused one loses nothing typed."""

from datetime import UTC, datetime, timedelta
from decimal import Decimal
from typing import Any

import pytest
import time_machine
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.utils.timezone import localtime

from core.clock import now
from jobs.work.models import Finding, Job, Operation, WorkRequest
from tests.api.asking import answer, asked, opened, withdraw
from tests.api.desk import MOST_QUERIES, awaited, named, signed_in, text_of
from tests.api.found import CLICK, PAPERS, PHONE, STOP, found
from tests.api.looked import tight
from tests.api.pictures import upload
from tests.api.steps import arrived, detail, done, history, moved, posted, ready
from tests.scene import Scene

AT = datetime(2027, 3, 4, 12, 0, tzinfo=UTC)
pytestmark = pytest.mark.django_db


@pytest.fixture
def desk(scene: Scene) -> Client:
    """Return the manager's browser."""
    return signed_in(scene.manager)


def sent(desk: Client, job: Any, what: str, /, **typed: Any) -> Any:
    """Send a form about a car and return the answer."""
    return desk.post(f"/desk/cars/{job['id']}/{what}", typed)


def refused(answer_: Any, status: int) -> str:
    """Return the page of a refused form, which says so on top."""
    page = text_of(answer_, status)
    assert '<div class="wrong" role="alert"' in page
    return page


def now_of(job: Any) -> Job:
    """Return the job as it is stored now."""
    return Job.objects.get(pk=job["id"])


def proposal(**changes: Any) -> dict[str, Any]:
    """Return what is typed to propose work."""
    until = localtime(now()) + timedelta(days=1)
    return {
        "what": "Machine-polish the bonnet",
        "why": "It is dull.",
        "if_not_done": "It stays dull.",
        "operations": ["polish_spot", "headlamps"],
        "minutes": "85",
        "price": "64.00",
        "answer_by": f"{until:%Y-%m-%dT%H:%M}",
        **changes,
    }


def test_a_tap_that_got_no_answer_can_be_tapped_again(scene: Scene, desk: Client) -> None:
    job = awaited(scene)
    for _ in range(2):
        assert sent(desk, job, "accept").status_code == 303
    for _ in range(2):
        assert sent(desk, job, "arrival").headers["Location"] == f"/desk/cars/{job['id']}"
    kinds = [entry["kind"] for entry in history(scene.workshop_api(), job)]
    assert kinds == ["received", "accepted", "arrived"]


def test_what_was_declined_or_cancelled_is_not_accepted(scene: Scene, desk: Client) -> None:
    job = awaited(scene)
    sent(desk, job, "decline", reason="No room.")
    assert "This order was declined before." in text_of(sent(desk, job, "accept"), 409)
    assert "This order was declined." in text_of(sent(desk, job, "arrival"), 409)


def test_declining_wants_a_reason(scene: Scene, desk: Client) -> None:
    job = awaited(scene)
    assert 'id="reason-wrong"' in refused(sent(desk, job, "decline", reason=" "), 400)
    assert now_of(job).decision == "awaited"
    sent(desk, job, "decline", reason="No room before Friday.")
    assert now_of(job).decision == "declined"
    entry = history(scene.workshop_api(), job)[-1]
    assert (entry["reason"], entry["actor"]) == ("No room before Friday.", "Milo Treen")
    page = text_of(desk.get(f"/desk/cars/{job['id']}/decline"))
    assert "This order was declined before." in page
    assert "<textarea" not in page


def test_a_car_is_moved_on(scene: Scene, desk: Client) -> None:
    job = arrived(scene, **named(1))
    answered = sent(desk, job, "move", to="cleaning", version=job["version"])
    assert (answered.status_code, now_of(job).stage) == (303, "cleaning")


def test_a_move_made_against_an_old_state_shows_the_new_one_and_can_be_sent_again(
    scene: Scene, desk: Client
) -> None:
    job = arrived(scene, **named(1))
    moved(scene.workshop_api(), job, "cleaning")
    typed = {"to": "correction", "reason": "Bird lime.", "version": job["version"]}
    page = refused(sent(desk, job, "move", **typed), 409)
    assert "the job is at version 4" in page
    assert 'name="version" value="4"' in page
    assert 'value="correction" checked' in page
    assert "Bird lime." in page
    sent(desk, job, "move", **{**typed, "version": "4"})
    assert now_of(job).stage == "correction"


def test_going_back_needs_a_reason(scene: Scene, desk: Client) -> None:
    job = moved(scene.workshop_api(), arrived(scene, **named(1)), "cleaning", "correction")
    typed = {"to": "cleaning", "version": job["version"]}
    assert "is rework and needs a reason" in refused(sent(desk, job, "move", **typed), 409)
    sent(desk, job, "move", **typed, reason="Polish dust in the shuts.")
    assert (now_of(job).stage, now_of(job).rework_count) == ("cleaning", 1)


def test_a_running_clock_lets_a_car_pass_only_by_an_override_with_a_reason(
    scene: Scene, desk: Client
) -> None:
    workshop = scene.workshop_api()
    job = arrived(scene, **named(1, operations=["wet_extraction"]))
    job = moved(workshop, job, "cleaning")
    (task,) = detail(workshop, job)["tasks"]
    assert "override" not in text_of(desk.get(f"/desk/cars/{job['id']}/move"))
    for verb in ("start", "finish"):
        done(workshop.post(f"/jobs/{job['id']}/tasks/{task['id']}/{verb}"))
    page = text_of(desk.get(f"/desk/cars/{job['id']}/move"))
    assert "Cures or dries until" in page
    assert "data sheet" in page
    typed = {"to": "ready", "version": job["version"]}
    assert "still dries, until" in refused(sent(desk, job, "move", **typed), 409)
    typed["override"] = "on"
    assert "An override needs a reason" in refused(sent(desk, job, "move", **typed), 409)
    sent(desk, job, "move", **typed, reason="The dealer fetches it with the windows open.")
    assert now_of(job).stage == "ready"
    assert history(workshop, job)[-1]["data"]["override"] is True


def test_a_held_car_is_not_moved_until_it_is_released(scene: Scene, desk: Client) -> None:
    job = arrived(scene, **named(1))
    sent(desk, job, "hold", cause="weather", reason="Rain all day.")
    (hold,) = detail(scene.workshop_api(), job)["holds"]
    assert (hold["cause"], hold["reason"]) == ("weather", "Rain all day.")
    page = text_of(desk.get(f"/desk/cars/{job['id']}/move"))
    assert "The car is on hold. Release what holds it first." in page
    assert "<form method" not in page.partition("<main")[2]
    release = f"holds/{hold['id']}/release"
    assert "Rain all day." in text_of(desk.get(f"/desk/cars/{job['id']}/{release}"))
    sent(desk, job, release, reason="The sun is out.")
    assert now_of(job).open_holds == 0
    assert "This hold has ended." in text_of(desk.get(f"/desk/cars/{job['id']}/{release}"))
    assert "This hold ended before." in refused(sent(desk, job, release), 409)


def test_a_hold_wants_a_cause(scene: Scene, desk: Client) -> None:
    job = arrived(scene, **named(1))
    page = refused(sent(desk, job, "hold", reason="It rains."), 400)
    assert "This field is required." in page
    assert "It rains." in page


def test_a_finding_told_by_telephone_is_acknowledged_and_the_car_stays_on_hold(
    scene: Scene, desk: Client
) -> None:
    job = arrived(scene, **named(1, contact_name="Ines", contact_phone="01632 960 001"))
    stop = found(scene.workshop_api(), job, STOP)
    path = f"findings/{stop['id']}/told"
    page = text_of(desk.get(f"/desk/cars/{job['id']}/{path}"))
    for said in ("Ines 01632 960 001", STOP["noticed"], "A qualified technician must inspect"):
        assert said in page
    page = refused(sent(desk, job, path, note="They send a trailer."), 400)
    assert "They send a trailer." in page
    assert now_of(job).open_holds == 1
    sent(desk, job, path, note="They send a trailer.", told="Ines, by telephone")
    kept = Finding.objects.get(pk=stop["id"])
    assert (kept.acknowledged_by, kept.acknowledged_told, kept.acknowledged_note) == (
        "Milo Treen", "Ines, by telephone", "They send a trailer.",
    )  # fmt: skip
    assert now_of(job).open_holds == 1
    page = text_of(desk.get(f"/desk/cars/{job['id']}/{path}"))
    assert "acknowledged by Milo Treen" in page


def test_the_hold_of_a_danger_is_not_released_by_hand(scene: Scene, desk: Client) -> None:
    job = arrived(scene, **named(1))
    found(scene.workshop_api(), job, STOP)
    (hold,) = detail(scene.workshop_api(), job)["holds"]
    page = refused(sent(desk, job, f"holds/{hold['id']}/release"), 409)
    assert "The car must not be driven" in page
    assert now_of(job).open_holds == 1


def test_a_thing_is_given_back_once_and_data_never(scene: Scene, desk: Client) -> None:
    job = arrived(scene, **named(1))
    thing = found(scene.workshop_api(), job, PAPERS)["belonging"]["id"]
    data = found(scene.workshop_api(), job, PHONE)["belonging"]["id"]
    assert 'id="returned_to-wrong"' in refused(sent(desk, job, f"belongings/{thing}/back"), 400)
    sent(desk, job, f"belongings/{thing}/back", returned_to="Nan Orrick")
    again = sent(desk, job, f"belongings/{thing}/back", returned_to="Somebody")
    assert "handed back" in refused(again, 409)
    assert "signed for by Nan Orrick" in text_of(again, 409)
    page = text_of(desk.get(f"/desk/cars/{job['id']}/belongings/{data}/back"))
    assert "This is data in the car." in page


def test_work_is_proposed_with_a_price_and_pictures(scene: Scene, desk: Client) -> None:
    job = arrived(scene, **named(1))
    photo = done(upload(scene.workshop_api(), job, caption="Bird lime", moment="detail"))
    assert "Bird lime, a detail" in text_of(desk.get(f"/desk/cars/{job['id']}/requests"))
    sent(desk, job, "requests", **proposal(hold="on", photo_ids=[photo["id"]]))
    request = WorkRequest.objects.get(job_id=job["id"])
    assert (request.price, request.currency, request.minutes) == (Decimal(64), "GBP", 85)
    assert request.operations == ["polish_spot", "headlamps"]
    assert [str(picture.pk) for picture in request.photos.all()] == [photo["id"]]
    assert now_of(job).open_holds == 1


def test_a_wrong_proposal_names_every_field_and_keeps_what_was_typed(
    scene: Scene, desk: Client
) -> None:
    job = arrived(scene, **named(1))
    wrong = proposal(what="", price="lots", minutes="-1", answer_by="2020-01-01T10:00")
    page = refused(sent(desk, job, "requests", **wrong), 400)
    for name in ("what", "price", "minutes", "answer_by"):
        assert f'id="{name}-wrong"' in page
    assert 'value="lots"' in page
    assert 'value="polish_spot" checked' in page
    assert not WorkRequest.objects.exists()


def test_a_proposal_sent_twice_is_one_proposal(scene: Scene, desk: Client) -> None:
    job = arrived(scene, **named(1))
    typed = proposal()
    for _ in range(2):
        assert sent(desk, job, "requests", **typed).status_code == 303
    assert WorkRequest.objects.count() == 1
    sent(desk, job, "requests", **{**typed, "minutes": "90"})
    assert WorkRequest.objects.count() == 2


def test_work_the_workshop_does_not_offer_is_refused(scene: Scene, desk: Client) -> None:
    job = arrived(scene, **named(1))
    row = Operation.objects.create(
        workshop=scene.workshop, code="sand_out", name="Get the sand out", stage="cleaning",
        standard_minutes=20, updated_at=now(),
    )  # fmt: skip
    assert "Get the sand out" in text_of(desk.get(f"/desk/cars/{job['id']}/requests"))
    row.hidden = True
    row.save()
    typed = proposal(operations=["polish_spot", "sand_out"])
    page = refused(sent(desk, job, "requests", **typed), 400)
    assert 'id="operations-wrong"' in page
    assert "sand_out" in page
    assert not WorkRequest.objects.exists()


def test_the_time_an_answer_is_wanted_by_is_local(scene: Scene) -> None:
    with time_machine.travel(datetime(2027, 7, 1, 9, 0, tzinfo=UTC), tick=False):
        desk = signed_in(scene.manager)
        job = arrived(scene, **named(1))
        page = text_of(desk.get(f"/desk/cars/{job['id']}/requests"))
        assert 'value="2027-07-02T17:00"' in page
        sent(desk, job, "requests", **proposal(answer_by="2027-07-02T17:00"))
    request = WorkRequest.objects.get(job_id=job["id"])
    assert request.answer_by == datetime(2027, 7, 2, 16, 0, tzinfo=UTC)


def test_a_question_is_replied_to_with_more_time(scene: Scene, desk: Client) -> None:
    job = arrived(scene, **named(1))
    request = opened(scene.workshop_api(), job)
    path = f"requests/{request['id']}/reply"
    assert "No question waits here." in refused(sent(desk, job, path, text="Hello."), 409)
    asked(scene.dealer_api(), request)
    page = text_of(desk.get(f"/desk/cars/{job['id']}/{path}"))
    assert 'Brackmoor Cars</dt><dd class="quote">Would a hand polish do?' in tight(page)
    until = localtime(now() + timedelta(days=3)).replace(second=0, microsecond=0)
    sent(desk, job, path, text="For a week or two.", answer_by=f"{until:%Y-%m-%dT%H:%M}")
    kept = WorkRequest.objects.get(pk=request["id"])
    assert kept.messages.order_by("pk").last().text == "For a week or two."  # type: ignore[union-attr]
    assert kept.answer_by == until


def test_a_request_is_withdrawn_with_a_reason_unless_it_was_answered(
    scene: Scene, desk: Client
) -> None:
    job = arrived(scene, **named(1))
    request, second_request = (opened(scene.workshop_api(), job) for _ in range(2))
    path = f"requests/{request['id']}/withdraw"
    assert 'id="reason-wrong"' in refused(sent(desk, job, path), 400)
    sent(desk, job, path, reason="The marks came off.")
    kept = WorkRequest.objects.get(pk=request["id"])
    assert (kept.state, kept.closed_note) == ("withdrawn", "The marks came off.")
    done(answer(scene.dealer_api(), second_request, "approve"))
    late = sent(desk, job, f"requests/{second_request['id']}/withdraw", reason="Too late.")
    assert "This request is approved" in refused(late, 409)


def test_a_car_is_collected_with_a_reason_where_something_is_open(
    scene: Scene, desk: Client
) -> None:
    job = ready(scene, **named(1))
    found(scene.workshop_api(), job, PAPERS)
    page = refused(sent(desk, job, "collection"), 409)
    assert "Things found in the car (1) are still here" in page
    asked = text_of(sent(desk, job, "collection", reason="Nan fetches the letter."), 409)
    assert "The walk-round on leaving is not recorded." in asked
    assert '<input type="hidden" name="confirm" value="true">' in asked
    assert "Yes: record that it was collected" in asked
    assert "Nan fetches the letter." in asked
    assert now_of(job).collected_at is None
    sent(desk, job, "collection", reason="Nan fetches the letter.", confirm="true")
    assert now_of(job).collected_at is not None
    assert "The car was collected." in text_of(desk.get(f"/desk/cars/{job['id']}/collection"))


def test_what_cannot_be_done_now_is_said_before_anything_is_typed(
    scene: Scene, desk: Client
) -> None:
    coming = posted(scene.dealer_api(), **named(1))
    for what in ("move", "hold", "requests", "collection"):
        page = text_of(desk.get(f"/desk/cars/{coming['id']}/{what}"))
        assert "The car has not arrived. Record its arrival first." in page
        assert "<textarea" not in page


def test_what_belongs_to_another_car_is_not_there(scene: Scene, desk: Client) -> None:
    workshop = scene.workshop_api()
    job, second_job = arrived(scene, **named(1)), arrived(scene, **named(2))
    request = opened(workshop, job, hold=True)
    (hold,) = detail(workshop, job)["holds"]
    finding, thing = found(workshop, job, CLICK), found(workshop, job, PAPERS)
    for path in (
        f"requests/{request['id']}/reply",
        f"holds/{hold['id']}/release",
        f"findings/{finding['id']}/told",
        f"belongings/{thing['belonging']['id']}/back",
        "changes/99/seen",
    ):
        reason = {"reason": "So.", "text": "So.", "told": "Ines", "returned_to": "Ines"}
        assert sent(desk, second_job, path, **reason).status_code == 404
        if not path.endswith("/seen"):
            assert desk.get(f"/desk/cars/{second_job['id']}/{path}").status_code == 404
    assert withdraw(workshop, request).status_code == 200  # nothing happened to it


def test_every_form_takes_few_queries(scene: Scene, desk: Client) -> None:
    job = arrived(scene, **named(1))
    request = opened(scene.workshop_api(), job)
    asked(scene.dealer_api(), request)
    for number in range(3):
        done(upload(scene.workshop_api(), job, caption=f"Mark {number}", moment="detail"))
    finding = found(scene.workshop_api(), job, CLICK)
    for what in (
        "move", "hold", "requests", "collection", f"requests/{request['id']}/reply",
        f"findings/{finding['id']}/told",
    ):  # fmt: skip
        with CaptureQueriesContext(connection) as taken:
            assert desk.get(f"/desk/cars/{job['id']}/{what}").status_code == 200
        assert len(taken) <= MOST_QUERIES
