"""One car at the desk: everything about it on one page, prices included."""

from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
import time_machine
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from tests.api.asking import answer, asked, opened, reply
from tests.api.desk import MOST_QUERIES, awaited, busy, named, signed_in, text_of
from tests.api.found import CLICK, PAPERS, STOP, found
from tests.api.pictures import upload
from tests.api.steps import arrived, detail, done, moved, posted
from tests.scene import Scene, person_api

AT = datetime(2027, 3, 4, 12, 0, tzinfo=UTC)
pytestmark = pytest.mark.django_db


@pytest.fixture
def desk(scene: Scene) -> Client:
    """Return the manager's browser."""
    return signed_in(scene.manager)


def page_of(desk: Client, job: Any) -> str:
    """Return the car's page."""
    return text_of(desk.get(f"/desk/cars/{job['id']}"))


def test_the_order_is_shown_with_its_cap_and_contact(scene: Scene, desk: Client) -> None:
    job = posted(
        scene.dealer_api(),
        **named(1, cap_amount="180.50", colour="Slate grey", keys="Hook 12", mileage=41250),
        contact_name="Ines Okafor-Lind",
        contact_phone="01632 960 001",
        notes="Sold; the customer comes at noon.",
        supplied=["Wheel trim"],
    )
    page = page_of(desk, job)
    for said in (
        "180.50 GBP", "Slate grey", "Hook 12", "41250 miles", "Ines Okafor-Lind 01632 960 001",
        "the customer comes at noon", "Wheel trim: not here yet", "not here yet",
    ):  # fmt: skip
        assert said in page


def test_tasks_say_planned_and_worked_minutes_and_who(scene: Scene) -> None:
    with time_machine.travel(AT, tick=False) as clock:
        desk = signed_in(scene.manager)
        job = moved(scene.workshop_api(), arrived(scene, **named(1)), "cleaning")
        wash, vacuum = detail(scene.workshop_api(), job)["tasks"]
        path, tam = f"/jobs/{job['id']}/tasks", person_api(scene.valeter)
        done(tam.post(f"{path}/{wash['id']}/start"))
        done(person_api(scene.manager).post(f"{path}/{wash['id']}/start"))
        clock.shift(timedelta(minutes=40))
        done(tam.post(f"{path}/{wash['id']}/finish"))
        done(tam.post(f"{path}/{vacuum['id']}/start"))
        clock.shift(timedelta(minutes=5))
        answered = desk.get(f"/desk/cars/{job['id']}")
    rows = [
        (row.task.name, row.task.planned_minutes, row.minutes, list(row.people), list(row.now))
        for row in answered.context["car"].tasks
    ]
    assert rows == [
        ("Wash and dry the body", 35, 80, ["Tam Brackley", "Milo Treen"], []),
        ("Vacuum the interior", 25, 5, ["Tam Brackley"], ["Tam Brackley"]),
    ]
    assert "1 done; 1 h planned, 1 h 25 min worked" in text_of(answered)


def test_time_on_hold_is_not_counted_as_worked(scene: Scene) -> None:
    with time_machine.travel(AT, tick=False) as clock:
        desk = signed_in(scene.manager)
        job = moved(scene.workshop_api(), arrived(scene, **named(1)), "cleaning")
        wash, _ = detail(scene.workshop_api(), job)["tasks"]
        done(scene.workshop_api().post(f"/jobs/{job['id']}/tasks/{wash['id']}/start"))
        clock.shift(timedelta(minutes=10))
        done(scene.workshop_api().post(f"/jobs/{job['id']}/holds", {"cause": "parts"}))
        clock.shift(timedelta(minutes=30))
        car = desk.get(f"/desk/cars/{job['id']}").context["car"]
    assert [row.minutes for row in car.tasks] == [10, 0]


def test_requests_are_shown_with_price_and_what_was_said(scene: Scene, desk: Client) -> None:
    job = arrived(scene, **named(1))
    priced = opened(person_api(scene.manager), job, price="64.00")
    asked(scene.dealer_api(), priced)
    page = page_of(desk, job)
    assert "64.00 GBP" in page
    assert "the dealer asks" in page
    assert "Would a hand polish do?" in page
    assert f"/requests/{priced['id']}/reply" in page
    done(reply(scene.workshop_api(), priced))
    page = page_of(desk, job)
    assert page.index("Would a hand polish do?") < page.index("For a week or two only.")
    assert f"/requests/{priced['id']}/reply" not in page
    done(answer(scene.dealer_api(), priced, "approve", note="Before Friday."))
    page = page_of(desk, job)
    assert ">approved</strong>" in page
    assert "Before Friday." in page
    assert "/withdraw" not in page


def test_a_finding_carries_its_weight_and_caution_and_a_danger_is_said_on_top(
    scene: Scene, desk: Client
) -> None:
    job = arrived(scene, **named(1))
    found(scene.workshop_api(), job, CLICK)
    assert "Do not drive this car." not in page_of(desk, job)
    stop = found(scene.workshop_api(), job, STOP)
    page = page_of(desk, job)
    assert page.index("Do not drive this car.") < page.index("A regular clicking")
    assert page.count("A qualified technician must inspect it") == 2
    assert f"/findings/{stop['id']}/told" in page
    assert "/release" not in page  # it ends with the acknowledgement only


def test_things_found_say_where_they_are_kept_and_who_signed(scene: Scene, desk: Client) -> None:
    job = arrived(scene, **named(1))
    thing = found(scene.workshop_api(), job, PAPERS)["belonging"]["id"]
    assert "Kept: Office, drawer 3" in page_of(desk, job)
    path = f"/desk/cars/{job['id']}/belongings/{thing}/back"
    assert path in page_of(desk, job)
    desk.post(path, {"returned_to": "Nan Orrick"})
    assert "signed for by Nan Orrick" in page_of(desk, job)
    assert path not in page_of(desk, job)


def test_pictures_are_shown_with_words(scene: Scene, desk: Client) -> None:
    job = arrived(scene, **named(1))
    photo = done(upload(scene.workshop_api(), job, caption="Bird lime", moment="detail"))
    page = page_of(desk, job)
    assert f"/api/v1/photos/{photo['id']}/320?" in page
    assert "Bird lime, a detail" in page


def test_a_change_of_the_dealers_says_what_was_and_what_is(scene: Scene) -> None:
    with time_machine.travel(AT, tick=False):
        desk = signed_in(scene.manager)
        job = arrived(scene, **named(1, colour="Grey"))
        change = {"colour": "Slate grey", "due_at": "2027-06-01T15:00:00Z"}
        done(scene.dealer_api().patch(f"/work-orders/{job['id']}", change))
        page = page_of(desk, job)
    assert '<strong>Colour</strong>: Slate grey <span class="quiet">(was: Grey)' in page
    assert "<strong>Due at</strong>: Tue 1 Jun 2027, 16:00" in page  # London in summer
    assert "(was: nothing)" in page


def test_the_history_tells_in_sentences_with_exact_times_newest_first(scene: Scene) -> None:
    with time_machine.travel(AT, tick=False):
        desk = signed_in(scene.manager)
        job = arrived(scene, **named(1))
        moment = AT - timedelta(minutes=20)
        move = {"to": "cleaning", "version": job["version"], "occurred_at": moment.isoformat()}
        done(scene.workshop_api().post(f"/jobs/{job['id']}/moves", move))
        page = page_of(desk, job)
    assert page.index("Moved from intake to cleaning.") < page.index("The car arrived.")
    assert "Thu 4 Mar 2027, 11:40:00" in page
    assert "sent at 4 Mar, 12:00:00" in page
    assert page.count("sent at") == 1


def test_it_leads_to_the_tablets_page_of_a_car_that_is_here(scene: Scene, desk: Client) -> None:
    job = posted(scene.dealer_api(), **named(1))
    assert "/tablet/cars/" not in page_of(desk, job)
    done(scene.workshop_api().post(f"/jobs/{job['id']}/arrival"))
    assert f'href="/tablet/cars/{job["id"]}"' in page_of(desk, job)


def test_what_may_be_done_follows_the_state(scene: Scene, desk: Client) -> None:
    waiting, coming = awaited(scene), posted(scene.dealer_api(), **named(1))
    here = moved(scene.workshop_api(), arrived(scene, **named(2)), "cleaning")
    held = arrived(scene, **named(3))
    done(scene.workshop_api().post(f"/jobs/{held['id']}/holds", {"cause": "parts"}))
    gone = posted(scene.dealer_api(), **named(4))
    done(scene.dealer_api().post(f"/work-orders/{gone['id']}/cancel"))
    offered = {
        name: desk.get(f"/desk/cars/{job['id']}").context["may"]
        for name, job in (
            ("waiting", waiting), ("coming", coming), ("here", here), ("held", held),
            ("gone", gone),
        )
    }  # fmt: skip
    assert offered == {
        "waiting": {"decide"},
        "coming": {"arrive"},
        "here": {"move", "hold", "ask", "collect"},
        "held": {"hold", "ask", "collect"},
        "gone": set(),
    }


def test_the_page_takes_as_many_queries_for_much_as_for_little(scene: Scene, desk: Client) -> None:
    def taken(job: Any) -> int:
        with CaptureQueriesContext(connection) as queries:
            page_of(desk, job)
        return len(queries)

    little = busy(scene, 1)
    done(upload(scene.workshop_api(), little))
    much = busy(scene, 2)
    for number in range(5):
        done(upload(scene.workshop_api(), much, moment="detail"))
        found(scene.workshop_api(), much, noticed=f"Noise {number}")
        asked(scene.dealer_api(), opened(scene.workshop_api(), much, what=f"Work {number}"))
    assert taken(much) == taken(little) <= MOST_QUERIES


def test_what_people_typed_stands_as_text(scene: Scene, desk: Client) -> None:
    script = "<script>alert(1)</script>"
    job = arrived(scene, **named(1, model=script, notes=script))
    found(scene.workshop_api(), job, noticed=script)
    opened(scene.workshop_api(), job, what=script)
    for address in (f"/desk/cars/{job['id']}", "/desk/", "/desk/waiting", "/desk/log"):
        page = text_of(desk.get(address))
        assert script not in page
        assert "&lt;script&gt;" in page
