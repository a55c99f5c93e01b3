"""Time that runs out on a request, and answers that come at once: one of them stands."""

from typing import Any

import pytest
import time_machine

from core.celery import app
from core.models import Sweep
from jobs.work.models import HistoryEntry, Job, Task, WorkRequest
from jobs.work.services.requests.closing import request_lapse
from jobs.work.tasks import lapse_requests
from notifications.models import Event
from tests.api.asking import answer, asked, opened, past_its_time, read, reply, withdraw
from tests.api.steps import arrived, at_once, detail, done, refused, told
from tests.scene import Api, Scene


def closings(request: Any) -> int:
    entries = HistoryEntry.objects.filter(kind="request_closed")
    return entries.filter(data__request_id=request["id"]).count()


def test_the_sweep_lapses_what_nobody_answered_and_frees_the_car(scene: Scene) -> None:
    workshop, job = scene.workshop_api(), arrived(scene)
    request, second_request = opened(workshop, job, hold=True), opened(workshop, job)
    done(answer(scene.dealer_api(), second_request, "decline"))
    lapse_requests()
    assert read(workshop, request)["state"] == "open"
    with past_its_time(request):
        lapse_requests()
        lapse_requests()
        assert Sweep.objects.filter(name="lapse_requests").exists()
    lapsed = read(workshop, request)
    assert (lapsed["state"], lapsed["closed_by"], lapsed["closed_way"]) == (
        "lapsed",
        "The service",
        "",
    )
    assert lapsed["closed_at"] > request["answer_by"]
    assert read(workshop, second_request)["state"] == "declined"
    assert detail(workshop, job)["on_hold"] is False
    names = [name for name, _ in told(job)]
    assert names.count("request.lapsed") == 1
    assert names[-2:] == ["job.released", "request.lapsed"]
    assert closings(request) == 1


def test_beat_asks_for_tasks_that_there_are() -> None:
    app.loader.import_default_modules()
    wanted = {entry["task"] for entry in app.conf.beat_schedule.values()}
    assert "jobs.tasks.lapse_requests" in wanted
    assert wanted <= set(app.tasks)


@pytest.mark.parametrize("word", ["approve", "decline", "ask", "reply", "withdraw"])
def test_a_word_after_the_time_lapses_it_at_that_moment(scene: Scene, word: str) -> None:
    workshop, dealer, job = scene.workshop_api(), scene.dealer_api(), arrived(scene)
    request = opened(workshop, job, hold=True)
    asked(dealer, request)
    with past_its_time(request):
        match word:
            case "reply":
                late = reply(workshop, request)
            case "withdraw":
                late = withdraw(workshop, request)
            case "ask":
                late = answer(dealer, request, "ask", question="?")
            case _:
                # However early the device says it was: only the service's clock counts.
                late = answer(dealer, request, word, occurred_at=request["opened_at"])
        problem = refused(late, 409, "request-closed")
    assert (problem["code"], problem["current"]["state"]) == ("lapsed", "lapsed")
    assert read(dealer, request)["state"] == "lapsed"
    assert detail(dealer, job)["on_hold"] is False
    assert not Task.objects.filter(operation="polish_spot").exists()
    assert closings(request) == 1


def test_a_reply_may_give_more_time(scene: Scene) -> None:
    workshop, dealer, job = scene.workshop_api(), scene.dealer_api(), arrived(scene)
    request = opened(workshop, job)
    asked(dealer, request)
    until = WorkRequest.objects.get().answer_by
    done(reply(workshop, request, answer_by=until + (until - WorkRequest.objects.get().opened_at)))
    with time_machine.travel(until, tick=False):
        assert request_lapse(request_id=WorkRequest.objects.get().pk) is False
        lapse_requests()
        assert done(answer(dealer, request, "approve"))["state"] == "approved"


@pytest.mark.django_db(transaction=True)
@pytest.mark.parametrize("words", [("approve", "decline"), ("approve", "approve")])
def test_of_two_answers_at_once_one_stands(scene: Scene, words: tuple[str, str]) -> None:
    workshop, job = scene.workshop_api(), arrived(scene, cap_minutes=60)
    request = opened(workshop, job, hold=True)
    apis = [scene.dealer_api() for _ in words]
    results = at_once(
        *(
            lambda api=api, word=word: answer(api, request, word)
            for api, word in zip(apis, words, strict=True)
        )
    )
    assert sorted(result.status_code for result in results) == [200, 409]
    stands = read(workshop, request)
    (won,) = [result.json() for result in results if result.status_code == 200]
    (lost,) = [result.json() for result in results if result.status_code == 409]
    assert lost["current"]["state"] == won["state"] == stands["state"]
    assert closings(request) == 1
    approved = stands["state"] == "approved"
    assert Task.objects.filter(operation="polish_spot").count() == approved
    assert Job.objects.get().cap_minutes == 60 + 45 * approved
    assert Event.objects.filter(type="request.answered").count() == 1
    assert Event.objects.filter(type="job.released").count() == 1


@pytest.mark.django_db(transaction=True)
def test_an_answer_and_the_end_of_the_job_at_once_leave_one_outcome(scene: Scene) -> None:
    workshop, dealer, job = scene.workshop_api(), scene.dealer_api(), arrived(scene)
    request = opened(workshop, job, hold=True)

    def collect() -> Any:
        return workshop.post(
            f"/jobs/{job['id']}/collection", {"reason": "Wanted back.", "confirm": True}
        )

    reply_to_dealer, collected = at_once(lambda: answer(dealer, request, "approve"), collect)
    assert collected.status_code == 200
    stands = read(workshop, request)["state"]
    assert stands == ("approved" if reply_to_dealer.status_code == 200 else "lapsed")
    assert closings(request) == 1


@pytest.mark.django_db(transaction=True)
def test_many_sweeps_at_once_lapse_it_once(scene: Scene) -> None:
    workshop, job = scene.workshop_api(), arrived(scene)
    request = opened(workshop, job, hold=True)
    with past_its_time(request):
        at_once(*[lapse_requests] * 4)
    assert closings(request) == 1
    assert Event.objects.filter(type="request.lapsed").count() == 1
    assert detail(workshop, job)["on_hold"] is False


def test_a_late_answer_under_a_key_is_refused_and_lapses_it_once(scene: Scene) -> None:
    workshop, dealer, job = scene.workshop_api(), scene.dealer_api(), arrived(scene)
    request = opened(workshop, job)
    with past_its_time(request):
        late: Any = dealer.post(
            f"/requests/{request['id']}/answer",
            {"answer": "approve"},
            headers={"Idempotency-Key": "stock-1"},
        )
        assert refused(late, 409)["code"] == "lapsed"
        assert read(dealer, request)["state"] == "lapsed"
        lapse_requests()
    assert closings(request) == 1


def test_looking_changes_nothing(scene: Scene) -> None:
    api: Api = scene.workshop_api()
    request = opened(api, arrived(scene))
    with past_its_time(request):
        assert read(api, request)["state"] == "open"
    assert closings(request) == 0
