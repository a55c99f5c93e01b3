"""The page behind the link in the dealer's e-mail: it answers once, and says what stands."""

import re
from typing import Any
from uuid import UUID

import pytest
from django.test import Client
from pytest_django import DjangoAssertNumQueries

from accounts.caller import Caller, Side
from core.clock import now
from jobs.work.models import HistoryEntry, Task, WorkRequest
from jobs.work.problems import LinkUsed
from jobs.work.selectors.requests import links
from jobs.work.services.requests.requests import request_answer
from tests.api.asking import (
    answer,
    asked,
    opened,
    past_its_time,
    read,
    reply,
    token_of,
    withdraw,
)
from tests.api.pictures import decoded, upload
from tests.api.steps import arrived, at_once, done, told
from tests.scene import Api, Scene

NAME = "Ines <Okafor>"


@pytest.fixture
def workshop(scene: Scene) -> Api:
    return scene.workshop_api()


@pytest.fixture
def job(scene: Scene) -> Any:
    return arrived(scene)


@pytest.fixture
def request_(workshop: Api, job: Any) -> Any:
    photo = done(upload(workshop, job, caption="Dull & grey"))
    return opened(workshop, job, price="38.00", hold=True, photo_ids=[photo["id"]])


def look(token: str) -> Any:
    return Client().get(f"/decide/{token}")


def press(token: str, word: str, client: Client | None = None, **typed: str) -> Any:
    return (client or Client()).post(f"/decide/{token}", {"answer": word, **typed})


def heading(page: Any) -> str:
    (found,) = re.findall(r"<h1>(.*?)</h1>", page.content.decode(), re.DOTALL)
    return str(found)


def test_it_shows_what_is_proposed(request_: Any) -> None:
    page = look(token_of(request_))
    assert page.status_code == 200
    text = page.content.decode()
    for said in (
        "Machine-polish the bonnet",
        "It is dull where the bird lime was.",
        "The marks stay.",
        "38.00 GBP",
        "45 minutes",
        "Spot-polish marks by machine",
        "TU21 ABC",
        "Corvane Lynd 1.4",
        "PX-1042",
        "Fernhollow Valeting",
        "Dull &amp; grey",
        "The car waits for your answer.",
    ):
        assert said in text
    assert "<script" not in text
    assert "style=" not in text


def test_every_answer_is_private_and_nothing_in_it_can_run(request_: Any) -> None:
    token = token_of(request_)
    pages = [look(token), look("nonsense"), press(token, "approve"), look(token)]
    assert [page.status_code for page in pages] == [200, 404, 200, 409]
    for page in pages:
        policy = page.headers["Content-Security-Policy"]
        assert "default-src 'none'" in policy
        assert "script-src" not in policy
        assert "frame-ancestors 'none'" in policy
        assert page.headers["Referrer-Policy"] == "same-origin"
        assert page.headers["Cache-Control"] == "no-store"
        assert page.headers["X-Robots-Tag"] == "noindex, nofollow"
        assert page.headers["Content-Type"] == "text/html; charset=utf-8"


def test_looking_changes_nothing_however_often_a_scanner_does(request_: Any) -> None:
    token = token_of(request_)
    before = HistoryEntry.objects.count()
    for _ in range(3):
        assert look(token).status_code == 200
        assert Client().head(f"/decide/{token}").status_code == 200
    with past_its_time(request_):
        assert look(token).status_code == 410
    assert HistoryEntry.objects.count() == before
    assert WorkRequest.objects.get().state == "open"


def test_approving_by_the_link_is_an_approval_like_any_other(
    scene: Scene, job: Any, request_: Any
) -> None:
    page = press(token_of(request_), "approve", name=NAME, text="Before Friday.")
    assert (page.status_code, heading(page)) == (200, "Approved: Machine-polish the bonnet")
    stands = read(scene.dealer_api(), request_)
    assert (stands["state"], stands["closed_way"]) == ("approved", "link")
    assert stands["closed_by"] == f"{NAME} (by the e-mail link)"
    assert stands["closed_note"] == "Before Friday."
    assert Task.objects.filter(operation="polish_spot").count() == 1
    name, data = told(job)[-1]
    assert (name, data["way"], data["by"]) == ("request.answered", "link", stands["closed_by"])
    entry = HistoryEntry.objects.get(kind="request_closed")
    assert (entry.actor, entry.data["way"]) == (stands["closed_by"], "link")


def test_declining_without_a_name_says_by_what_way(scene: Scene, request_: Any) -> None:
    assert heading(press(token_of(request_), "decline")) == "Declined: Machine-polish the bonnet"
    stands = read(scene.dealer_api(), request_)
    assert (stands["state"], stands["closed_by"]) == ("declined", "By the e-mail link")


@pytest.mark.parametrize("first", ["approve", "decline"])
@pytest.mark.parametrize("second", ["approve", "decline", "ask"])
def test_a_second_answer_is_told_what_stands(
    scene: Scene, request_: Any, first: str, second: str
) -> None:
    token = token_of(request_)
    press(token, first, name=NAME)
    stands = read(scene.dealer_api(), request_)
    entries = HistoryEntry.objects.count()
    for page in (press(token, second, text="And now?"), look(token)):
        assert page.status_code == 409
        assert heading(page) == f"This is {stands['state']} already"
        assert "Ines &lt;Okafor&gt; (by the e-mail link)" in page.content.decode()
    assert read(scene.dealer_api(), request_) == stands
    assert HistoryEntry.objects.count() == entries


def test_a_question_ends_the_link_and_the_reply_brings_a_fresh_one(
    scene: Scene, workshop: Api, request_: Any
) -> None:
    first = token_of(request_)
    page = press(first, "ask", name=NAME, text="Would a hand polish do?")
    assert (page.status_code, heading(page)) == (200, "Your question is sent")
    asked_about = read(scene.dealer_api(), request_)
    assert asked_about["state"] == "open"
    assert asked_about["messages"][0]["text"] == "Would a hand polish do?"
    for page in (look(first), press(first, "approve")):
        assert (page.status_code, heading(page)) == (409, "This link was used already")
        assert "Would a hand polish do?" in page.content.decode()
    done(reply(workshop, request_))
    page = press(first, "approve")
    assert page.status_code == 409
    assert "newest e-mail" in page.content.decode()
    assert read(scene.dealer_api(), request_)["state"] == "open"
    fresh = token_of(request_)
    assert "For a week or two only." in look(fresh).content.decode()
    assert press(fresh, "approve").status_code == 200
    assert read(scene.dealer_api(), request_)["state"] == "approved"


def test_an_answer_over_the_api_ends_the_link(scene: Scene, request_: Any) -> None:
    token = token_of(request_)
    asked(scene.dealer_api(), request_)
    assert press(token, "approve").status_code == 409
    done(answer(scene.dealer_api(), request_, "decline"))
    page = press(token, "approve")
    assert (page.status_code, heading(page)) == (409, "This is declined already")


def test_a_withdrawn_request_says_so(workshop: Api, request_: Any) -> None:
    done(withdraw(workshop, request_))
    page = look(token_of(request_))
    assert (page.status_code, heading(page)) == (409, "The workshop withdrew this")
    assert "The marks came off." in page.content.decode()


def test_after_the_time_nothing_is_taken_and_the_request_lapses(
    scene: Scene, request_: Any
) -> None:
    token = token_of(request_)
    with past_its_time(request_):
        for page in (look(token), press(token, "approve"), look(token)):
            assert (page.status_code, heading(page)) == (410, "It is too late to answer")
        assert read(scene.dealer_api(), request_)["state"] == "lapsed"
    assert not Task.objects.filter(operation="polish_spot").exists()


def test_a_car_that_has_gone_leaves_nothing_to_answer(
    workshop: Api, job: Any, request_: Any
) -> None:
    done(
        workshop.post(f"/jobs/{job['id']}/collection", {"reason": "Wanted back.", "confirm": True})
    )
    page = press(token_of(request_), "approve")
    assert (page.status_code, heading(page)) == (410, "It is too late to answer")
    assert "The car was collected." in page.content.decode()


@pytest.mark.parametrize(
    ("typed", "says"),
    [
        ({"answer": "ask", "text": "  "}, "Write your question as the word"),
        ({"answer": "approve", "text": "x" * 501}, "Keep it to 500 letters."),
        ({"answer": "approve", "name": "x" * 81}, "Keep your name to 80 letters."),
        ({"answer": "perhaps"}, "is not one of the available choices"),
        ({}, "Choose approve, decline or ask."),
        ({"answer": "ask", "text": "a\x00b"}, "Null characters"),
    ],
)
def test_what_is_wrong_is_said_and_nothing_is_lost(
    request_: Any, typed: dict[str, str], says: str
) -> None:
    token = token_of(request_)
    page = Client().post(f"/decide/{token}", {"name": "Ines", **typed})
    assert page.status_code == 400
    text = page.content.decode()
    assert says in text
    assert 'role="alert"' in text
    assert WorkRequest.objects.get().state == "open"
    assert press(token, "approve").status_code == 200


def tampered(token: str) -> list[str]:
    value, _, signature = token.partition(".")
    letter = "B" if value[0] == "A" else "A"
    return [
        "",
        "x",
        value,
        f"{letter}{value[1:]}.{signature}",
        f"{value}.{signature[:-2]}",
        f"{value}.",
        token + "A",
        "%00",
        "%C3%A9.x",
        str(UUID(int=0)),
    ]


def test_a_link_that_is_not_ours_leads_nowhere(request_: Any) -> None:
    for token in tampered(token_of(request_))[1:]:
        for page in (look(token), press(token, "approve")):
            assert page.status_code in {400, 404}, token
            if page.status_code == 404:
                assert heading(page) == "This link does not work"
    assert WorkRequest.objects.get().state == "open"


def test_a_signature_of_ours_for_something_else_is_no_link() -> None:
    from django.core.signing import Signer  # noqa: PLC0415

    for salt in ("jobs.photos.link", "jobs.requests.decision"):
        for value in ("", "QUJD", "not base64 at all", "\u00e9"):
            token = Signer(salt=salt, sep=".").sign(value)
            assert links.decision_link(token) is None


def test_pictures_come_through_the_link_and_no_others_do(
    scene: Scene, workshop: Api, job: Any, request_: Any
) -> None:
    token, photo = token_of(request_), request_["pictures"][0]
    page = Client().get(f"/decide/{token}/photos/{photo['id']}/320")
    assert (page.status_code, page.headers["Content-Type"]) == (200, "image/jpeg")
    assert page.headers["Cache-Control"] == "no-store"
    assert max(decoded(page.content).size) == 320
    second_photo = done(upload(workshop, job))
    assert Client().get(f"/decide/{token}/photos/{second_photo['id']}/320").status_code == 404
    assert Client().get(f"/decide/{token}/photos/{photo['id']}/321").status_code == 404
    assert Client().get(f"/decide/x{token}/photos/{photo['id']}/320").status_code == 404
    assert Client().post(f"/decide/{token}/photos/{photo['id']}/320").status_code == 405
    done(answer(scene.dealer_api(), request_, "decline"))
    assert Client().get(f"/decide/{token}/photos/{photo['id']}/320").status_code == 404


def test_a_form_from_elsewhere_answers_nothing_and_is_told_what_to_do(request_: Any) -> None:
    token = token_of(request_)
    strict = Client(enforce_csrf_checks=True)
    page = press(token, "approve", strict)
    assert (page.status_code, heading(page)) == (403, "Your answer was not taken")
    assert WorkRequest.objects.get().state == "open"
    shown = strict.get(f"/decide/{token}").content.decode()
    (proof,) = re.findall(r'name="csrfmiddlewaretoken" value="(\w+)"', shown)
    strange = strict.post(
        f"/decide/{token}",
        {"answer": "approve", "csrfmiddlewaretoken": proof},
        headers={"Origin": "https://elsewhere.example"},
    )
    assert strange.status_code == 403
    page = press(token, "approve", strict, csrfmiddlewaretoken=proof)
    assert page.status_code == 200


@pytest.mark.django_db(transaction=True)
def test_the_same_link_pressed_twice_at_once_answers_once(scene: Scene) -> None:
    request = opened(scene.workshop_api(), arrived(scene))
    token = token_of(request)
    pages = at_once(lambda: press(token, "approve"), lambda: press(token, "decline"))
    assert sorted(page.status_code for page in pages) == [200, 409]
    assert HistoryEntry.objects.filter(kind="request_closed").count() == 1


def test_an_answer_for_a_round_that_ended_meanwhile_is_refused(scene: Scene, request_: Any) -> None:
    asked(scene.dealer_api(), request_)
    dealer = Caller(scene.dealer.pk, Side.DEALER, frozenset(), "By the e-mail link")
    with pytest.raises(LinkUsed) as refused:
        request_answer(
            caller=dealer,
            request_id=request_["id"],
            answer="approve",
            occurred_at=now(),
            in_round=1,
        )
    assert refused.value.extra["current"]["round"] == 2
    assert read(scene.dealer_api(), request_)["state"] == "open"


@pytest.mark.django_db(transaction=True)
def test_a_question_pressed_twice_at_once_is_asked_once(scene: Scene) -> None:
    request = opened(scene.workshop_api(), arrived(scene))
    token = token_of(request)
    pages = at_once(*[lambda: press(token, "ask", text="Would a hand polish do?")] * 2)
    assert sorted(page.status_code for page in pages) == [200, 409]
    assert len(read(scene.dealer_api(), request)["messages"]) == 1


def test_without_a_price_none_is_shown(workshop: Api, job: Any) -> None:
    text = look(token_of(opened(workshop, job))).content.decode()
    assert "not named" in text
    assert "GBP" not in text


def test_a_page_costs_few_queries(
    request_: Any, django_assert_num_queries: DjangoAssertNumQueries
) -> None:
    token = token_of(request_)
    look(token)
    # The request with its job; the workshop's words, pictures, sizes, messages.
    with django_assert_num_queries(5):
        look(token)
    with django_assert_num_queries(0):
        look("x" + token)
