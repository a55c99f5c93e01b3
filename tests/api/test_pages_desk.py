"""The list of all cars at the desk: what each line says, what narrows it, how it is kept fresh."""

from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
import time_machine
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from jobs.work.models import Job
from tests.api.desk import MOST_QUERIES, awaited, busy, named, signed_in, text_of
from tests.api.found import STOP, found
from tests.api.looked import tight
from tests.api.steps import arrived, detail, done, moved, posted, ready
from tests.scene import Scene, key_api, person_api

AT = datetime(2027, 3, 4, 12, 0, tzinfo=UTC)  # noon in London, a Thursday
pytestmark = pytest.mark.django_db


@pytest.fixture
def desk(scene: Scene) -> Client:
    """Return the manager's browser."""
    return signed_in(scene.manager)


def queries(client: Client, address: str) -> int:
    """Return how many queries a page takes."""
    with CaptureQueriesContext(connection) as taken:
        assert client.get(address).status_code == 200
    return len(taken)


def test_a_car_stands_under_its_stage_with_all_that_matters(scene: Scene, desk: Client) -> None:
    job = moved(scene.workshop_api(), arrived(scene, **named(1)), "cleaning")
    wash, vacuum = detail(scene.workshop_api(), job)["tasks"]
    path = f"/jobs/{job['id']}/tasks"
    tam = person_api(scene.valeter)
    done(tam.post(f"{path}/{wash['id']}/start"))
    done(tam.post(f"{path}/{wash['id']}/finish"))
    done(tam.post(f"{path}/{vacuum['id']}/start"))
    page = text_of(desk.get("/desk/"))
    assert "Cleaning (1)" in page
    for said in ("TU21 AAB", "Corvane Lynd 1.4", "Brackmoor Cars", "PX-1", "no day named"):
        assert said in page
    assert "1 of 2 done<br>25 min left of the plan" in tight(page)
    assert "Tam Brackley at work" in page


def test_minutes_already_worked_on_a_task_are_no_longer_left(scene: Scene) -> None:
    with time_machine.travel(AT, tick=False) as clock:
        desk = signed_in(scene.manager)
        job = moved(scene.workshop_api(), arrived(scene, **named(1)), "cleaning")
        wash, _ = detail(scene.workshop_api(), job)["tasks"]  # 35 min; the other has 25
        done(scene.workshop_api().post(f"/jobs/{job['id']}/tasks/{wash['id']}/start"))
        clock.shift(timedelta(minutes=20))
        assert "0 of 2 done<br>40 min left of the plan" in tight(text_of(desk.get("/desk/")))
        clock.shift(timedelta(minutes=60))
        assert "0 of 2 done<br>25 min left of the plan" in tight(text_of(desk.get("/desk/")))


def test_late_and_due_today_are_said_in_words_but_not_of_a_ready_car(scene: Scene) -> None:
    with time_machine.travel(AT, tick=False):
        desk = signed_in(scene.manager)
        for number, hours in enumerate((-1, 3, 14)):
            posted(scene.dealer_api(), **named(number, due_at=AT + timedelta(hours=hours)))
        ready(scene, **named(7, due_at=AT - timedelta(hours=2)))
        page = text_of(desk.get("/desk/"))
    assert page.count(">late</strong> since") == 1
    assert page.count("due today</strong>") == 1
    assert page.index("TU21 AAA") < page.index("TU21 AAB") < page.index("TU21 AAC")


def test_the_day_that_is_due_is_the_workshops_own(scene: Scene) -> None:
    summer_night = datetime(2027, 6, 30, 22, 30, tzinfo=UTC)  # 23:30 in London
    with time_machine.travel(summer_night, tick=False):
        desk = signed_in(scene.manager)
        later = summer_night + timedelta(hours=1)  # the same day in UTC, but tomorrow here
        posted(scene.dealer_api(), **named(1, due_at=later))
        page = text_of(desk.get("/desk/"))
    assert "due today" not in page
    assert "tomorrow 00:30" in page


def test_a_hold_says_its_cause_and_since_when(scene: Scene, desk: Client) -> None:
    job = arrived(scene, **named(1))
    done(scene.workshop_api().post(f"/jobs/{job['id']}/holds", {"cause": "parts"}))
    assert "waits: parts</strong> since <time" in text_of(desk.get("/desk/"))


def test_a_car_that_must_not_be_driven_says_so_also_once_acknowledged(
    scene: Scene, desk: Client
) -> None:
    stop = found(scene.workshop_api(), arrived(scene, **named(1)), STOP)
    arrived(scene, **named(2))
    assert text_of(desk.get("/desk/")).count("do not drive</strong>") == 1
    done(scene.dealer_api().post(f"/findings/{stop['id']}/acknowledge"))
    assert text_of(desk.get("/desk/")).count("do not drive</strong>") == 1


def test_orders_to_answer_come_first_and_are_accepted_by_one_tap(
    scene: Scene, desk: Client
) -> None:
    arrived(scene, **named(1))
    job = awaited(scene, 2)
    page = text_of(desk.get("/desk/"))
    assert page.index("Orders to answer (1)") < page.index("Intake (1)")
    answer = desk.post(f"/desk/cars/{job['id']}/accept", {"back": "desk"}, follow=True)
    page = text_of(answer)
    assert answer.redirect_chain == [("/desk/", 303)]
    assert "TU21 AAC is accepted; the dealer has been told." in page
    assert "Orders to answer" not in page
    assert "On their way here (1)" in page


def test_an_order_is_declined_with_a_ready_reason(scene: Scene, desk: Client) -> None:
    job = awaited(scene, 2)
    reason = "We have no room by the time it is wanted back."
    assert f'name="reason" value="{reason}"' in text_of(desk.get("/desk/"))
    sent = {"reason": reason, "back": "desk"}
    page = text_of(desk.post(f"/desk/cars/{job['id']}/decline", sent, follow=True))
    assert "is declined; the dealer has been told why." in page
    assert "No cars yet." in page


@pytest.mark.parametrize(
    ("query", "found"),
    [
        ("dealer={dealer}", {"TU21 AAA", "TU21 AAB"}),
        ("dealer={stranger}", {"TU21 AAC"}),
        ("stage=cleaning", {"TU21 AAB"}),
        ("held=on", {"TU21 AAA"}),
        ("search=tu21aab", {"TU21 AAB"}),
        ("search=px-2", {"TU21 AAC"}),
        ("search=AA", {"TU21 AAA", "TU21 AAB", "TU21 AAC"}),
        ("search=zz&stage=cleaning", set()),
        ("stage=cleaning&held=on", set()),
    ],
)
def test_the_list_is_narrowed(scene: Scene, desk: Client, query: str, found: set[str]) -> None:
    held = arrived(scene, **named(0))
    done(scene.workshop_api().post(f"/jobs/{held['id']}/holds", {"cause": "parts"}))
    moved(scene.workshop_api(), arrived(scene, **named(1)), "cleaning")
    second_job = awaited(scene, 2)
    query = query.format(dealer=scene.dealer.pk, stranger=second_job["dealer_id"])
    for address in ("/desk/", "/desk/cars"):
        page = text_of(desk.get(f"{address}?{query}"))
        marks = {"TU21 AAA", "TU21 AAB", "TU21 AAC"}
        assert {mark for mark in marks if f'<span class="mark">{mark}' in page} == found
        assert ("No car fits what you asked for." in page) is (not found)


def test_a_wrong_filter_is_named_and_what_was_typed_stays(desk: Client) -> None:
    page = text_of(desk.get("/desk/?stage=polishing&search=TU21"), 400)
    assert "not a valid choice" in page
    assert 'value="TU21"' in page
    assert "data-poll" not in page


def test_an_empty_workshop_is_told_what_to_do_first(desk: Client) -> None:
    page = text_of(desk.get("/desk/"))
    assert "No cars yet." in page
    assert 'href="/desk/set-up"' in page
    assert "No car is over yet." in text_of(desk.get("/desk/over"))


def test_a_cancelled_car_that_stands_here_stays_on_the_list(scene: Scene, desk: Client) -> None:
    here, coming = arrived(scene, **named(1)), posted(scene.dealer_api(), **named(2))
    for job in (here, coming):
        done(scene.dealer_api().post(f"/work-orders/{job['id']}/cancel"))
    page = text_of(desk.get("/desk/"))
    assert "Cancelled, still here (1)" in page
    assert "TU21 AAB" in page
    assert "TU21 AAC" not in page
    assert "TU21 AAC" in text_of(desk.get("/desk/over"))


def test_cars_that_are_over_come_by_the_page(scene: Scene, desk: Client) -> None:
    dealer = scene.dealer_api()
    for number in range(60):
        job = posted(dealer, **named(number))
        done(dealer.post(f"/work-orders/{job['id']}/cancel"))
    first = desk.get("/desk/over?search=TU21")
    assert first.context["jobs"][0].dealer_ref == "PX-59"
    assert len(first.context["jobs"]) == 50
    second = desk.get(f"/desk/over?{first.context['onward']}")
    assert [job.dealer_ref for job in second.context["jobs"]] == [
        f"PX-{number}" for number in range(9, -1, -1)
    ]
    assert second.context["onward"] == ""
    assert "Go back to the first page" in text_of(desk.get("/desk/over?before=x"), 400)


def test_an_unchanged_list_is_a_304_of_one_query(scene: Scene) -> None:
    arrived(scene, **named(1))
    with time_machine.travel(AT, tick=False):
        desk = signed_in(scene.manager)
        page = desk.get("/desk/?stage=intake")
        tag = page.context["tag"]
        assert page.context["poll"] == "/desk/cars?stage=intake"
        assert desk.get("/desk/cars?stage=intake").headers["ETag"] == tag
        with CaptureQueriesContext(connection) as taken:
            again = desk.get("/desk/cars?stage=intake", headers={"If-None-Match": f"W/{tag}"})
    assert (again.status_code, again.content) == (304, b"")
    assert len(taken) == 1


def test_any_change_of_a_car_gives_the_list_anew(scene: Scene) -> None:
    workshop, dealer = scene.workshop_api(), scene.dealer_api()
    with time_machine.travel(AT, tick=False):
        desk = signed_in(scene.manager)
        job = moved(workshop, arrived(scene, **named(1)), "cleaning")
        wash, _ = detail(workshop, job)["tasks"]
        path, in_an_hour = f"/jobs/{job['id']}", (AT + timedelta(hours=1)).isoformat()
        changes: list[Callable[[], Any]] = [
            lambda: workshop.post(f"{path}/tasks/{wash['id']}/start"),
            lambda: workshop.post(f"{path}/holds", {"cause": "weather"}),
            lambda: dealer.patch(f"/work-orders/{job['id']}", {"due_at": in_an_hour}),
            lambda: dealer.post(f"/work-orders/{job['id']}/cancel"),
            lambda: workshop.post(f"{path}/collection", {"confirm": True}),
        ]
        tags = [desk.get("/desk/cars").headers["ETag"]]
        for change in changes:
            done(change())
            tags.append(desk.get("/desk/cars").headers["ETag"])
    assert len(set(tags)) == len(changes) + 1


def test_the_list_is_given_anew_when_its_words_may_have_changed(scene: Scene) -> None:
    arrived(scene, **named(1))
    with time_machine.travel(AT, tick=False) as clock:
        desk = signed_in(scene.manager)
        tag = desk.get("/desk/cars").headers["ETag"]
        clock.shift(timedelta(minutes=1))
        assert desk.get("/desk/cars", headers={"If-None-Match": tag}).status_code == 200


def test_what_is_polled_is_the_same_for_the_same_state_and_holds_no_token(scene: Scene) -> None:
    busy(scene, 1)
    awaited(scene)
    with time_machine.travel(AT, tick=False):
        desk = signed_in(scene.manager)
        first, second = desk.get("/desk/cars"), desk.get("/desk/cars")
    assert first.content == second.content
    assert b"csrf" not in first.content


@pytest.mark.parametrize("address", ["/desk/", "/desk/cars", "/desk/over", "/desk/over?search=x"])
def test_the_lists_take_as_many_queries_for_60_cars_as_for_one(
    scene: Scene, desk: Client, address: str
) -> None:
    awaited(scene)
    job = busy(scene, 0)
    gone(scene, 100)
    few = queries(desk, address)
    many_like(job, 59)
    for number in range(101, 104):
        gone(scene, number)
    assert queries(desk, address) == few <= MOST_QUERIES


def gone(scene: Scene, number: int) -> None:
    """Make a car that is over."""
    job = posted(scene.dealer_api(), **named(number))
    done(scene.dealer_api().post(f"/work-orders/{job['id']}/cancel"))


def many_like(job: Any, count: int) -> None:
    """Copy a car with its tasks, their time and its holds, as often as wanted."""
    first = Job.objects.get(pk=job["id"])
    rows = {name: list(getattr(first, name).all()) for name in ("tasks", "holds")}
    spells = {task.pk: list(task.spells.all()) for task in rows["tasks"]}
    for number in range(1, count + 1):
        fresh = Job.objects.get(pk=job["id"])
        fresh.pk, fresh.dealer_ref, fresh.registration_key = None, f"C-{number}", f"C{number}"
        fresh.pk = Job._meta.pk.get_default()
        fresh._state.adding = True
        fresh.save(force_insert=True)
        for row in [*rows["tasks"], *rows["holds"]]:
            was = row.pk
            row.pk, row.job = type(row)._meta.pk.get_default(), fresh
            row._state.adding = True
            row.save(force_insert=True)
            for spell in spells.get(was, ()):
                spell.pk, spell.task = type(spell)._meta.pk.get_default(), row
                spell._state.adding = True
                spell.save(force_insert=True)
            if was in spells:
                spells[row.pk] = spells.pop(was)


def test_another_workshops_cars_are_not_there(scene: Scene, desk: Client) -> None:
    stranger = key_api(scene.stranger_dealer)
    job = posted(stranger, **named(5))
    assert "TU21 AAF" not in text_of(desk.get("/desk/"))
    assert "Quillhaven" not in text_of(desk.get("/desk/"))
    for address in ("", "/move", "/requests", "/decline"):
        assert desk.get(f"/desk/cars/{job['id']}{address}").status_code == 404


@pytest.mark.parametrize("address", ["/desk/", "/desk/cars", "/desk/waiting", "/desk/due"])
def test_valeters_and_dealers_are_kept_out(scene: Scene, address: str) -> None:
    for person in (scene.valeter, scene.staff):
        assert signed_in(person).get(address).status_code == 403
