"""Extra work is proposed, asked about, approved or declined; the history and both sides know."""

from datetime import timedelta
from typing import Any

import pytest
from pytest_django import DjangoAssertNumQueries

from accounts.caller import Scope
from core.clock import now
from jobs.work.models import Task
from tests.api.asking import answer, asked, opened, proposal, read, reply, withdraw
from tests.api.pictures import upload
from tests.api.steps import (
    NOWHERE,
    arrived,
    detail,
    done,
    fields,
    history,
    moved,
    posted,
    refused,
    told,
)
from tests.figures import without_ids
from tests.scene import Api, Scene, key_api, person_api


@pytest.fixture
def workshop(scene: Scene) -> Api:
    return scene.workshop_api()


@pytest.fixture
def dealer(scene: Scene) -> Api:
    return scene.dealer_api()


@pytest.fixture
def job(scene: Scene) -> Any:
    return arrived(scene)


def kinds(api: Api, job: Any) -> list[str]:
    return [entry["kind"] for entry in history(api, job)]


def events(job: Any) -> list[str]:
    return [name for name, _ in told(job)]


def test_a_request_is_kept_told_and_shown_to_both(workshop: Api, dealer: Api, job: Any) -> None:
    photo = done(upload(workshop, job))
    request = opened(workshop, job, price="38.00", photo_ids=[photo["id"]])
    assert request["state"] == "open"
    assert (request["price"], request["currency"], request["priced"]) == ("38.00", "GBP", True)
    assert (request["round"], request["hold_id"]) == (1, None)
    assert request["pictures"][0]["id"] == photo["id"]
    assert read(dealer, request) == read(workshop, request) == request
    listed = done(dealer.get(f"/jobs/{job['id']}/requests"))["requests"]
    assert listed == [request]
    name, data = told(job)[-1]
    assert name == "request.opened"
    assert data["request_id"] == request["id"]
    assert (data["what"], data["minutes"]) == ("Machine-polish the bonnet", 45)
    assert (data["priced"], data["holds_the_car"]) == (True, False)
    assert data["pictures"][0]["id"] == photo["id"]
    entry = history(dealer, job)[-1]
    assert entry["kind"] == "request_opened"
    assert entry["data"]["request_id"] == request["id"]
    assert "38.00" not in without_ids([data, entry["data"]])


def test_it_holds_the_car_where_the_workshop_says_so(workshop: Api, job: Any) -> None:
    request = opened(workshop, job, hold=True)
    assert detail(workshop, job)["on_hold"] is True
    (hold,) = detail(workshop, job)["holds"]
    assert (hold["id"], hold["cause"]) == (request["hold_id"], "decision")
    assert kinds(workshop, job)[-2:] == ["held", "request_opened"]
    assert told(job)[-1][1]["job"]["on_hold"] is True


def test_an_approval_adds_tasks_and_frees_the_car(workshop: Api, dealer: Api, job: Any) -> None:
    request = opened(workshop, job, operations=["polish_spot", "headlamps"], minutes=34, hold=True)
    before = {task["id"] for task in detail(workshop, job)["tasks"]}
    approved = done(answer(dealer, request, "approve", note="Before Friday."))
    assert (approved["state"], approved["closed_way"]) == ("approved", "api")
    assert approved["closed_note"] == "Before Friday."
    assert approved["closed_by"] == "tests (Brackmoor Cars)"
    seen = detail(workshop, job)
    fresh = [task for task in seen["tasks"] if task["id"] not in before]
    # In proportion to 45 and 40 standard minutes.
    assert [(task["operation"], task["planned_minutes"]) for task in fresh] == [
        ("polish_spot", 18),
        ("headlamps", 16),
    ]
    assert fresh[0]["note"] == "Machine-polish the bonnet"
    assert seen["on_hold"] is False
    assert kinds(workshop, job)[-4:] == ["request_closed", "released", "task_added", "task_added"]
    closed, _, added, _ = history(workshop, job)[-4:]
    assert closed["data"] == {"request_id": request["id"], "outcome": "approved", "way": "api"}
    assert added["data"]["request_id"] == request["id"]
    name, data = told(job)[-1]
    assert (name, data["outcome"], data["way"]) == ("request.answered", "approved", "api")
    assert [task["planned_minutes"] for task in data["tasks"]] == [18, 16]
    assert data["job"]["on_hold"] is False


def test_a_cap_in_minutes_grows_by_the_minutes(scene: Scene, workshop: Api, dealer: Api) -> None:
    job = arrived(scene, cap_minutes=120)
    request = opened(workshop, job, price="38.00")
    done(answer(dealer, request, "approve"))
    assert detail(dealer, job)["cap_minutes"] == 165
    entry = history(dealer, job)[-1]
    assert entry["kind"] == "changed"
    assert entry["data"]["changes"] == [{"field": "cap_minutes", "was": 120, "now": 165}]
    assert events(job)[-2:] == ["work_order.changed", "request.answered"]
    assert detail(dealer, job)["changes_to_see"] == []


def test_a_cap_in_money_grows_by_the_price_and_stays_hidden(
    scene: Scene, workshop: Api, dealer: Api
) -> None:
    job = arrived(scene, cap_amount="150.00")
    done(answer(dealer, opened(workshop, job, price="38.50"), "approve"))
    assert detail(dealer, job)["cap_amount"] == "188.50"
    change = {"field": "cap_amount", "was": "150.00", "now": "188.50"}
    assert history(dealer, job)[-1]["data"]["changes"] == [change]
    valeter = person_api(scene.valeter)
    hidden = {"field": "cap_amount", "was": None, "now": None}
    assert history(valeter, job)[-1]["data"]["changes"] == [hidden]
    for answer_seen in (history(valeter, job), told(job), detail(valeter, job)):
        assert "38.5" not in without_ids(answer_seen)
        assert "188" not in without_ids(answer_seen)


@pytest.mark.parametrize("proposed", [{}, {"price": "38.00", "currency": "EUR"}, {"price": "0.00"}])
def test_a_cap_in_money_stays_where_no_price_fits_it(
    scene: Scene, workshop: Api, dealer: Api, proposed: dict[str, Any]
) -> None:
    job = arrived(scene, cap_amount="150.00")
    done(answer(dealer, opened(workshop, job, **proposed), "approve"))
    assert detail(dealer, job)["cap_amount"] == "150.00"
    assert kinds(dealer, job)[-1] == "task_added"


def test_a_cap_at_its_highest_grows_no_further(scene: Scene, workshop: Api, dealer: Api) -> None:
    job = arrived(scene, cap_amount="99999999.00")
    done(answer(dealer, opened(workshop, job, price="38.00"), "approve"))
    assert detail(dealer, job)["cap_amount"] == "99999999.99"


def test_a_refusal_adds_nothing_and_frees_the_car(workshop: Api, dealer: Api, job: Any) -> None:
    request = opened(workshop, job, hold=True)
    tasks = Task.objects.count()
    declined = done(answer(dealer, request, "decline", note="Not at this price."))
    assert declined["state"] == "declined"
    assert Task.objects.count() == tasks
    assert detail(workshop, job)["on_hold"] is False
    name, data = told(job)[-1]
    assert (name, data["outcome"], data["tasks"]) == ("request.answered", "declined", [])
    assert data["note"] == "Not at this price."


def test_a_question_and_its_reply_raise_the_round_and_leave_it_open(
    workshop: Api, dealer: Api, job: Any
) -> None:
    request = opened(workshop, job)
    assert asked(dealer, request)["round"] == 2
    name, data = told(job)[-1]
    assert (name, data["question"]) == ("request.asked", "Would a hand polish do?")
    later = now() + timedelta(hours=9)
    replied = done(reply(workshop, request, answer_by=later))
    assert (replied["state"], replied["round"]) == ("open", 3)
    assert replied["answer_by"] == later.isoformat().replace("+00:00", "Z")
    assert [(message["side"], message["text"]) for message in replied["messages"]] == [
        ("dealer", "Would a hand polish do?"),
        ("workshop", "For a week or two only."),
    ]
    name, data = told(job)[-1]
    assert (name, data["question"]) == ("request.replied", "Would a hand polish do?")
    assert data["reply"] == "For a week or two only."
    assert kinds(dealer, job)[-3:] == ["request_opened", "request_asked", "request_replied"]
    assert done(answer(dealer, request, "approve"))["state"] == "approved"


def test_a_question_may_be_followed_by_a_decision_without_a_reply(
    workshop: Api, dealer: Api, job: Any
) -> None:
    request = opened(workshop, job)
    asked(dealer, request)
    assert done(answer(dealer, request, "decline"))["state"] == "declined"


def test_a_reply_needs_a_question(workshop: Api, dealer: Api, job: Any) -> None:
    request = opened(workshop, job)
    assert refused(reply(workshop, request), 409)["code"] == "no_question"
    asked(dealer, request)
    done(reply(workshop, request))
    assert refused(reply(workshop, request), 409)["code"] == "no_question"


def test_the_workshop_withdraws_with_a_reason(workshop: Api, dealer: Api, job: Any) -> None:
    request = opened(workshop, job, hold=True)
    withdrawn = done(withdraw(workshop, request))
    assert (withdrawn["state"], withdrawn["closed_note"]) == ("withdrawn", "The marks came off.")
    assert detail(dealer, job)["on_hold"] is False
    name, data = told(job)[-1]
    assert (name, data["reason"]) == ("request.withdrawn", "The marks came off.")


@pytest.mark.parametrize("closing", ["approve", "decline", "withdraw"])
@pytest.mark.parametrize("later", ["approve", "decline", "ask", "reply", "withdraw"])
def test_a_closed_request_takes_no_further_word_and_says_what_stands(
    workshop: Api, dealer: Api, job: Any, closing: str, later: str
) -> None:
    request = opened(workshop, job)
    if closing == "withdraw":
        closed = done(withdraw(workshop, request))
    else:
        closed = done(answer(dealer, request, closing, note="So it is."))
    before = history(dealer, job)
    match later:
        case "reply":
            problem = refused(reply(workshop, request), 409, "request-closed")
        case "withdraw":
            problem = refused(withdraw(workshop, request), 409, "request-closed")
        case "ask":
            problem = refused(answer(dealer, request, "ask", question="?"), 409, "request-closed")
        case _:
            problem = refused(answer(dealer, request, later), 409, "request-closed")
    assert problem["code"] == closed["state"]
    assert closed["closed_by"] in problem["detail"]
    assert problem["current"] == {
        "id": request["id"],
        "job_id": job["id"],
        "state": closed["state"],
        "round": 1,
        "answer_by": request["answer_by"],
        "closed_at": closed["closed_at"],
        "closed_by": closed["closed_by"],
        "way": closed["closed_way"],
        "note": closed["closed_note"],
    }
    assert history(dealer, job) == before


def test_a_hold_released_by_hand_stays_released(workshop: Api, dealer: Api, job: Any) -> None:
    request = opened(workshop, job, hold=True)
    done(workshop.post(f"/jobs/{job['id']}/holds/{request['hold_id']}/release"))
    done(answer(dealer, request, "approve"))
    assert kinds(dealer, job).count("released") == 1


def test_other_holds_stay(workshop: Api, dealer: Api, job: Any) -> None:
    done(workshop.post(f"/jobs/{job['id']}/holds", {"cause": "parts"}))
    done(answer(dealer, opened(workshop, job, hold=True), "approve"))
    assert detail(dealer, job)["on_hold"] is True


def test_only_callers_with_the_scope_name_or_see_a_price(scene: Scene, job: Any) -> None:
    valeter, manager = person_api(scene.valeter), person_api(scene.manager)
    priced = proposal(price="38.00")
    problem = refused(valeter.post(f"/jobs/{job['id']}/requests", priced), 400)
    assert fields_of(problem) == ["price"]
    assert "A manager names the price" in problem["detail"]
    request = opened(manager, job, price="38.00")
    assert read(manager, request)["price"] == "38.00"
    for reader in (valeter, key_api(scene.dealer, [Scope.READ])):
        seen = read(reader, request)
        assert (seen["price"], seen["priced"]) == (None, True)
        assert "38.00" not in without_ids(done(reader.get(f"/jobs/{job['id']}/requests")))
    assert opened(valeter, job)["price"] is None


def fields_of(problem: Any) -> list[str]:
    return [entry["field"] for entry in problem["errors"]]


@pytest.mark.parametrize(
    ("changes", "wrong"),
    [
        ({"answer_by": now() - timedelta(minutes=1)}, ["answer_by"]),
        ({"answer_by": now() + timedelta(days=31)}, ["answer_by"]),
        ({"operations": ["gold_plating"]}, ["operations"]),
        ({"operations": ["full_valet"]}, ["operations"]),
        ({"operations": []}, ["operations"]),
        ({"operations": ["vacuum", "glass"], "minutes": 1}, ["minutes"]),
        ({"minutes": 0}, ["minutes"]),
        ({"price": "-1.00"}, ["price"]),
        ({"price": "1000000.00"}, ["price"]),
        ({"currency": "GBP"}, ["currency"]),
        ({"price": "1.00", "currency": "pounds"}, ["currency"]),
        ({"what": " ", "why": None}, ["what", "why"]),
        ({"photo_ids": [NOWHERE]}, ["photo_ids"]),
        ({"cost": 1, "hold": "perhaps"}, ["cost", "hold"]),
    ],
)
def test_what_is_wrong_with_a_request_is_named(
    workshop: Api, job: Any, changes: dict[str, Any], wrong: list[str]
) -> None:
    bad = workshop.post(f"/jobs/{job['id']}/requests", proposal(**changes))
    assert sorted(fields(bad)) == wrong


def test_a_picture_of_another_car_cannot_go_with_it(scene: Scene, workshop: Api, job: Any) -> None:
    second_job = arrived(scene, dealer_ref="PX-2", registration="TU21 ABD")
    photo = done(upload(workshop, second_job))
    bad = workshop.post(f"/jobs/{job['id']}/requests", proposal(photo_ids=[photo["id"]]))
    assert fields(bad) == ["photo_ids"]


@pytest.mark.parametrize(
    ("sent", "wrong"),
    [
        ({}, ["answer"]),
        ({"answer": "perhaps"}, ["answer"]),
        ({"answer": "ask"}, ["question"]),
        ({"answer": "ask", "question": ""}, ["question"]),
        ({"answer": "ask", "question": "?", "note": "x"}, ["note"]),
        ({"answer": "approve", "question": "?"}, ["question"]),
    ],
)
def test_what_is_wrong_with_an_answer_is_named(
    workshop: Api, dealer: Api, job: Any, sent: dict[str, Any], wrong: list[str]
) -> None:
    request = opened(workshop, job)
    assert fields(dealer.post(f"/requests/{request['id']}/answer", sent)) == wrong
    assert read(dealer, request)["state"] == "open"


def test_nothing_is_proposed_for_a_car_that_is_not_here(
    workshop: Api, dealer: Api, job: Any
) -> None:
    coming = posted(dealer, dealer_ref="PX-2", registration="TU21 ABD")
    problem = refused(workshop.post(f"/jobs/{coming['id']}/requests", proposal()), 409)
    assert problem["code"] == "not_arrived"
    done(
        workshop.post(f"/jobs/{job['id']}/collection", {"reason": "Wanted back.", "confirm": True})
    )
    problem = refused(workshop.post(f"/jobs/{job['id']}/requests", proposal()), 409)
    assert problem["code"] == "collected"


@pytest.mark.parametrize("ending", ["collection", "cancel"])
def test_what_waits_for_an_answer_lapses_with_the_job(
    workshop: Api, dealer: Api, job: Any, ending: str
) -> None:
    request = opened(workshop, job, hold=True)
    if ending == "cancel":
        done(dealer.post(f"/work-orders/{job['id']}/cancel", {}))
    else:
        done(
            workshop.post(
                f"/jobs/{job['id']}/collection", {"reason": "Wanted back.", "confirm": True}
            )
        )
    lapsed = read(dealer, request)
    assert (lapsed["state"], lapsed["closed_by"]) == ("lapsed", "The service")
    assert lapsed["closed_note"] in {"The car was collected.", "The order was cancelled."}
    last = {"collection": "collected", "cancel": "cancelled"}[ending]
    assert kinds(dealer, job)[-3:] == ["request_closed", "released", last]
    assert "request.lapsed" in events(job)
    assert detail(dealer, job)["on_hold"] is False
    assert refused(answer(dealer, request, "approve"), 409)["code"] == "lapsed"


def test_an_answer_by_a_clock_behind_the_workshops_is_not_before_the_request(
    workshop: Api, dealer: Api, job: Any
) -> None:
    request = opened(workshop, job, hold=True)
    early = now() - timedelta(hours=1)
    approved = done(answer(dealer, request, "approve", occurred_at=early))
    assert approved["closed_at"] == request["opened_at"]


def test_strangers_find_nothing(scene: Scene, workshop: Api, job: Any) -> None:
    request = opened(workshop, job)
    strange = key_api(scene.stranger_dealer), key_api(scene.stranger_workshop)
    for api in strange:
        refused(api.get(f"/requests/{request['id']}"), 404)
        refused(api.get(f"/jobs/{job['id']}/requests"), 404)
    refused(answer(strange[0], request, "approve"), 404)
    refused(reply(strange[1], request), 404)
    refused(withdraw(strange[1], request), 404)
    refused(workshop.get(f"/requests/{NOWHERE}"), 404)


def test_a_list_costs_the_same_however_long_it_is(
    workshop: Api,
    dealer: Api,
    job: Any,
    django_assert_num_queries: DjangoAssertNumQueries,
) -> None:
    photo = done(upload(workshop, job))
    for _ in range(3):
        request = opened(workshop, job, photo_ids=[photo["id"]])
        asked(dealer, request)
    # The key; the job; requests, pictures, sizes, messages.
    with django_assert_num_queries(6):
        assert len(done(dealer.get(f"/jobs/{job['id']}/requests"))["requests"]) == 3
    with django_assert_num_queries(5):
        read(dealer, request)


def test_the_same_request_sent_twice_under_a_key_is_opened_once(workshop: Api, job: Any) -> None:
    sent = proposal(hold=True)
    headers = {"Idempotency-Key": "tablet-7-41"}
    answers = [
        workshop.post(f"/jobs/{job['id']}/requests", sent, headers=headers) for _ in range(2)
    ]
    assert answers[0].json() == answers[1].json()
    assert kinds(workshop, job).count("request_opened") == 1


def test_work_goes_on_while_an_answer_is_awaited_without_a_hold(
    workshop: Api, dealer: Api, job: Any
) -> None:
    request = opened(workshop, job)
    ready = moved(workshop, job, "cleaning", "ready")
    assert ready["stage"] == "ready"
    done(answer(dealer, request, "approve"))
    assert detail(dealer, job)["stage"] == "ready"
