"""What waits on whom: each thing in its place, since when, and the way to deal with it."""

import re
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
import time_machine
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from tests.api.asking import asked, opened, reply
from tests.api.desk import MOST_QUERIES, awaited, busy, named, signed_in, text_of
from tests.api.found import CLICK, PAPERS, PHONE, STOP, found
from tests.api.steps import arrived, detail, done, moved, posted, ready
from tests.scene import Scene

AT = datetime(2027, 3, 4, 12, 0, tzinfo=UTC)
SIDES = ("dealer", "us", "time")
pytestmark = pytest.mark.django_db
Waits = dict[str, list[tuple[str, str]]]


@pytest.fixture
def desk(scene: Scene) -> Client:
    """Return the manager's browser."""
    return signed_in(scene.manager)


def waits(desk: Client) -> Waits:
    """Return what the page says: on each side, what is waited for and what it is about."""
    answer = desk.get("/desk/waiting")
    assert answer.status_code == 200
    return {
        section.code: [(line.waiting.what.value, line.waiting.about) for line in section.lines]
        for section in answer.context["sections"]
    }


def only(side: str, *lines: tuple[str, str]) -> Waits:
    """Return what the page says where these are all there is."""
    return {code: list(lines) if code == side else [] for code in SIDES}


def test_nothing_waits_in_an_empty_workshop(desk: Client) -> None:
    assert waits(desk) == only("us")
    page = text_of(desk.get("/desk/waiting"))
    for said in ("No dealer owes you", "Nobody waits for you.", "Nothing cures, dries or waits"):
        assert said in page


def test_whom_to_ring_stands_beside_what_waits_on_the_dealer(scene: Scene, desk: Client) -> None:
    contact = {"contact_name": "Ines", "contact_phone": "01632 960 001"}
    job = ready(scene, **named(1, **contact))  # its walk-round waits on us
    assert "Ines 01632 960 001" not in text_of(desk.get("/desk/waiting"))
    opened(scene.workshop_api(), job)
    assert text_of(desk.get("/desk/waiting")).count("Ines 01632 960 001") == 1


def test_a_request_waits_on_the_dealer_until_it_asks_and_then_on_us(
    scene: Scene, desk: Client
) -> None:
    job = arrived(scene, **named(1))
    request = opened(scene.workshop_api(), job, hold=True)
    assert waits(desk) == only("dealer", ("request", "Machine-polish the bonnet"))
    page = text_of(desk.get("/desk/waiting"))
    assert "answer wanted by <time" in page
    assert "the car is on hold for it" in page
    asked(scene.dealer_api(), request)
    question = "Machine-polish the bonnet: “Would a hand polish do?”"
    assert waits(desk) == only("us", ("question", question))
    assert f"/requests/{request['id']}/reply" in text_of(desk.get("/desk/waiting"))
    done(reply(scene.workshop_api(), request))
    assert waits(desk) == only("dealer", ("request", "Machine-polish the bonnet"))


def test_a_car_not_to_be_driven_comes_before_all_else(scene: Scene, desk: Client) -> None:
    job = arrived(scene, **named(1))
    found(scene.workshop_api(), job)
    found(scene.workshop_api(), job, CLICK, noticed="It rattles.")
    stop = found(scene.workshop_api(), job, STOP)
    assert waits(desk) == only(
        "dealer",
        ("do_not_drive", STOP["noticed"]),
        ("findings", "A regular clicking from a front wheel (and 1 more)"),
    )
    told_path = f"/desk/cars/{job['id']}/findings/{stop['id']}/told"
    assert told_path in text_of(desk.get("/desk/waiting"))
    done(scene.dealer_api().post(f"/findings/{stop['id']}/acknowledge"))
    assert [what for what, _ in waits(desk)["dealer"]] == ["not_cleared", "findings"]
    clear = f"/desk/cars/{job['id']}/findings/{stop['id']}/clear"
    assert clear in text_of(desk.get("/desk/waiting"))
    body = {"how": "transported", "by": "Corm Recovery"}
    done(scene.dealer_api().post(f"/findings/{stop['id']}/clear", body))
    assert [what for what, _ in waits(desk)["dealer"]] == ["findings"]


def test_what_was_withdrawn_waits_for_nobody(scene: Scene, desk: Client) -> None:
    stop = found(scene.workshop_api(), arrived(scene, **named(1)), STOP)
    reason = {"reason": "Tapped on the wrong car."}
    done(scene.workshop_api().post(f"/findings/{stop['id']}/withdraw", reason))
    assert waits(desk)["dealer"] == []


def test_what_the_dealer_supplies_waits_until_it_is_here(scene: Scene, desk: Client) -> None:
    job = arrived(scene, **named(1, supplied=["Wheel trim", "Paint"]))
    assert waits(desk) == only("dealer", ("supplied", "Wheel trim, Paint"))
    tick = {"item": "Wheel trim", "state": "received"}
    done(scene.workshop_api().post(f"/jobs/{job['id']}/supplied", tick))
    assert waits(desk) == only("dealer", ("supplied", "Paint"))


def test_an_order_is_accepted_from_the_list(scene: Scene, desk: Client) -> None:
    job = awaited(scene)
    assert waits(desk) == only("us", ("order", ""))
    accept = f"/desk/cars/{job['id']}/accept"
    assert f'formaction="{accept}"' in text_of(desk.get("/desk/waiting"))
    answer = desk.post(accept, {"back": "waiting"})
    assert (answer.status_code, answer.headers["Location"]) == (303, "/desk/waiting")
    assert waits(desk) == only("us")


def test_a_change_of_the_dealers_is_marked_as_seen_from_the_list(
    scene: Scene, desk: Client
) -> None:
    job = arrived(scene, **named(1))
    changes = {"notes": "Keys are with Ines.", "colour": "Slate grey"}
    done(scene.dealer_api().patch(f"/work-orders/{job['id']}", changes))
    assert waits(desk) == only("us", ("change", "colour, notes"))
    (address,) = re.findall(r'formaction="(\S+/seen)"', text_of(desk.get("/desk/waiting")))
    assert "marked as seen" in text_of(desk.post(address, {"back": "waiting"}, follow=True))
    assert waits(desk) == only("us")


def test_things_found_are_ours_to_give_back_even_after_the_car_has_gone(
    scene: Scene, desk: Client
) -> None:
    workshop = scene.workshop_api()
    job = ready(scene, **named(1))
    for finding in (PAPERS, PHONE):
        made = found(workshop, job, finding)
        done(scene.dealer_api().post(f"/findings/{made['id']}/acknowledge"))
    done(
        workshop.post(
            f"/jobs/{job['id']}/collection", {"reason": "They fetch the letter.", "confirm": True}
        )
    )
    papers = "A letter from Larkholt Infirmary, kept: Office, drawer 3"
    assert waits(desk) == only("us", ("belonging", papers))
    (address,) = re.findall(r'href="(\S+/back)"', text_of(desk.get("/desk/waiting")))
    desk.post(address, {"returned_to": "Nan Orrick"})
    assert waits(desk) == only("us")


def test_a_car_gone_without_its_danger_acknowledged_still_waits(scene: Scene, desk: Client) -> None:
    job = ready(scene, **named(1))
    found(scene.workshop_api(), job, STOP)
    found(scene.workshop_api(), job)
    collection = {"reason": "Fetched on a trailer.", "confirm": True}
    done(scene.workshop_api().post(f"/jobs/{job['id']}/collection", collection))
    assert waits(desk) == only("dealer", ("do_not_drive", STOP["noticed"]))


def test_a_car_about_to_leave_wants_its_walk_round(scene: Scene, desk: Client) -> None:
    job = ready(scene, **named(1))
    assert waits(desk) == only("us", ("leaving", ""))
    done(scene.workshop_api().post(f"/jobs/{job['id']}/walk-rounds", {"occasion": "leaving"}))
    assert waits(desk) == only("us")


def test_a_cancelled_car_that_is_here_wants_it_too_and_one_that_never_came_does_not(
    scene: Scene, desk: Client
) -> None:
    for job in (arrived(scene, **named(1)), posted(scene.dealer_api(), **named(2))):
        done(scene.dealer_api().post(f"/work-orders/{job['id']}/cancel"))
    assert waits(desk) == only("us", ("leaving", ""))


@pytest.mark.parametrize(
    ("cause", "side", "what"),
    [
        ("decision", "dealer", "decision_hold"),
        ("parts", "time", "hold"),
        ("weather", "time", "hold"),
        ("drying", "time", "hold"),
    ],
)
def test_a_hold_waits_on_whom_its_cause_says(
    scene: Scene, desk: Client, cause: str, side: str, what: str
) -> None:
    job = arrived(scene, **named(1))
    hold = {"cause": cause, "reason": "So it is."}
    done(scene.workshop_api().post(f"/jobs/{job['id']}/holds", hold))
    label = "the dealer's decision" if cause == "decision" else cause
    assert waits(desk) == only(side, (what, f"{label}: So it is."))
    (address,) = re.findall(r'href="(\S+/release)"', text_of(desk.get("/desk/waiting")))
    desk.post(address, {})
    assert waits(desk) == only("us")


def test_what_cures_waits_until_its_time_and_the_longest_decides(scene: Scene) -> None:
    workshop = scene.workshop_api()
    with time_machine.travel(AT, tick=False) as clock:
        desk = signed_in(scene.manager)
        work = ["wet_extraction", "coating"]
        job = moved(workshop, arrived(scene, **named(1, operations=work)), "correction")
        for task in detail(workshop, job)["tasks"]:
            path = f"/jobs/{job['id']}/tasks/{task['id']}"
            done(workshop.post(f"{path}/start"))
            done(workshop.post(f"{path}/finish"))
        ends = max(wait["ends_at"] for wait in detail(workshop, job)["clocks"])
        ((what, about),) = waits(desk)["time"]
        assert (what, "curing" in about) == ("clock", True)
        clock.move_to(datetime.fromisoformat(ends) + timedelta(seconds=1))
        # What dries is over only when somebody has felt it.
        wet = ("touch", "Wet extraction of seats and carpets")
        assert waits(signed_in(scene.manager)) == only("us", wet)


def test_another_workshops_waits_are_not_there(scene: Scene) -> None:
    busy(scene, 1)
    stranger = scene.owner
    stranger.organisation = scene.stranger_workshop
    stranger.save()
    assert waits(signed_in(stranger)) == only("us")


def test_the_page_takes_as_many_queries_for_ten_cars_as_for_one(scene: Scene, desk: Client) -> None:
    def taken() -> int:
        with CaptureQueriesContext(connection) as queries:
            assert desk.get("/desk/waiting").status_code == 200
        return len(queries)

    def furnish(number: int) -> None:
        busy(scene, number)
        awaited(scene, 900 + number, f"Larkholt Cars {number}")
        ready(scene, **named(500 + number, supplied=["Paint"]))

    furnish(0)
    few = taken()
    for number in range(1, 10):
        furnish(number)
    assert taken() == few <= MOST_QUERIES


def test_every_line_says_what_to_do_and_leads_to_where_it_is_done(
    scene: Scene, desk: Client
) -> None:
    busy(scene, 1)
    awaited(scene)
    ready(scene, **named(2))
    answer: Any = desk.get("/desk/waiting")
    lines = [line for section in answer.context["sections"] for line in section.lines]
    kinds = {line.waiting.what.value for line in lines}
    assert kinds == {
        "order", "do_not_drive", "findings", "request", "question", "change", "belonging",
        "leaving", "supplied", "hold", "clock",
    }  # fmt: skip
    for line in lines:
        assert desk.get(line.link).status_code == (405 if line.advice.one_tap else 200)
    assert all(line.advice.todo.endswith(".") for line in lines)
