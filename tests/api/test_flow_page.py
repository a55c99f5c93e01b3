"""The page of where cars wait."""

import html
import re
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
import time_machine
from django.test import Client

from jobs.work.models import DayCapacity, FlowCar, Job
from tests.scene import Scene, person_api

NINE = datetime(2027, 3, 1, 9, 0, tzinfo=UTC)


@pytest.fixture(autouse=True)
def clock() -> Iterator[Any]:
    """Stop the clock in the evening of a working day."""
    with time_machine.travel(NINE + timedelta(hours=10), tick=False) as moved_clock:
        yield moved_clock


@pytest.fixture
def desk(scene: Scene) -> Client:
    """Return the manager's browser."""
    return person_api(scene.manager).client


def finished(scene: Scene, count: int, *, slow: int = -1, hours: float = 4) -> None:
    """Make cars that were cleaned for some hours each; one of them may take ten times as long."""
    for number in range(count):
        lead = round(3600 * hours * (10 if number == slow else 1 + (number % 3) / 20))
        ready_at = NINE - timedelta(hours=count - number)
        job = Job.objects.create(
            dealer=scene.dealer, workshop=scene.workshop, registration=f"TU21 {number:03}",
            registration_key=f"TU21{number:03}", stage="ready", decision="accepted",
            is_open=False, arrived_at=ready_at - timedelta(seconds=lead), ready_at=ready_at,
            received_at=ready_at, updated_at=ready_at,
        )  # fmt: skip
        FlowCar.objects.create(
            job=job, workshop=scene.workshop, dealer=scene.dealer, purpose="retail",
            arrived_at=ready_at - timedelta(seconds=lead), ready_at=ready_at, lead_seconds=lead,
            person_seconds=lead // 2, cleaning_working=lead // 2,
            cleaning_nobody_on_it=lead - lead // 2, for_cleaning=lead - lead // 2,
            on_time=number % 4 != 0, rework_count=number % 5 == 0,
        )  # fmt: skip


def words(answer: Any) -> str:
    """Return what a page says, without its markup."""
    return html.unescape(" ".join(re.sub(r"<[^>]+>", " ", answer.content.decode()).split()))


def test_without_any_car_it_says_so_and_what_to_do(desk: Client) -> None:
    answer = desk.get("/desk/flow")
    assert answer.status_code == 200
    assert "No car became ready in this period." in words(answer)
    assert "No car is in work." in words(answer)
    assert b"<svg" not in answer.content


def test_it_tells_the_figures_in_words(scene: Scene, desk: Client) -> None:
    finished(scene, 20)
    said = words(desk.get("/desk/flow"))
    assert "Became ready 20 cars" in said
    assert "Half were ready within (P50) 4 h 12 min" in said
    assert "75 %, 15 of 20 with a time" in said
    assert "20 %, 4 of 20" in said
    assert "Cleaning : 100 % of all time is work there or waiting for somebody to clean it" in said
    assert "worked on 2 h 6 min" in said
    assert "is told once the minutes of work on each day are set" in said


def test_the_bar_is_as_wide_as_its_parts(scene: Scene, desk: Client) -> None:
    finished(scene, 20)
    page = desk.get("/desk/flow").content.decode()
    drawn = re.findall(r'<rect class="flow-(\w+)" x="([\d.]+)" y="1" width="([\d.]+)"', page)
    assert [cause for cause, _, _ in drawn] == ["working", "nobody_on_it"]
    assert float(drawn[1][1]) == pytest.approx(50, abs=0.1)
    assert float(drawn[1][1]) + float(drawn[1][2]) == pytest.approx(100, abs=1)


def test_few_cars_are_said_to_be_few_and_have_no_limits(scene: Scene, desk: Client) -> None:
    finished(scene, 3)
    said = words(desk.get("/desk/flow"))
    assert "Only 3 cars: take every figure here for what they did" in said
    assert "There are no limits yet: they take eight cars, and there are 3." in said
    assert "Show all cars of the last 90 days." not in said
    assert "Show all cars of the last 90 days." in words(desk.get("/desk/flow?purpose=retail"))


def test_cars_that_stand_done_have_the_last_look_as_their_limit(scene: Scene, desk: Client) -> None:
    finished(scene, 10)
    FlowCar.objects.update(for_cleaning=0, cleaning_working=0, for_ready=7200)
    said = words(desk.get("/desk/flow"))
    assert "Calling cars ready :" in said
    assert "The average car waits 2 h with nobody on it." in said


def test_twelve_cars_have_provisional_limits(scene: Scene, desk: Client) -> None:
    finished(scene, 12)
    assert "The limits are provisional" in words(desk.get("/desk/flow"))


def test_where_nothing_is_told_it_does_not_say_that_all_was_as_usual(
    scene: Scene, desk: Client
) -> None:
    """Of twelve cars none could be."""
    finished(scene, 12)
    said = words(desk.get("/desk/flow"))
    assert "No sign among the latest 12 cars that anything was not as usual." in said
    assert "Of ten charts of a workshop where nothing changes, at most one shows a sign," in said
    assert "the cars are too few, or wait on each other for too long, to tell a lasting" in said


def test_a_flagged_car_has_a_shape_of_its_own_and_its_rule_in_words(
    scene: Scene, desk: Client
) -> None:
    finished(scene, 30, slow=20)
    answer = desk.get("/desk/flow")
    car = Job.objects.get(registration="TU21 020")
    assert f'<a href="/desk/cars/{car.pk}" class="mark">TU21 020</a>' in answer.content.decode()
    assert "TU21 020 took 40 h: slower than the limit drawn as a diamond" in words(answer)
    assert answer.content.count(b"<polygon") == len(
        set(re.findall(r"TU21 \d+(?= took)", words(answer)))
    )


def test_with_minutes_of_work_it_says_what_the_load_means(scene: Scene, desk: Client) -> None:
    finished(scene, 20)
    for weekday in range(7):
        DayCapacity.objects.create(workshop=scene.workshop, weekday=weekday, minutes=480)
    said = words(desk.get("/desk/flow?since=2027-02-26"))
    assert re.search(r"(\d+) % went into these cars \( ?1 person, by the longest day\)", said)
    assert "More work than hours: waiting grows without end." in said
    DayCapacity.objects.update(minutes=2400)
    idle = words(desk.get("/desk/flow?since=2027-02-26"))
    assert "By the sum: A car waits about " in idle
    assert "With a tenth more cars: about " in idle
    narrowed = words(desk.get("/desk/flow?purpose=retail"))
    assert "How busy people are is told for all cars together" in narrowed


@pytest.mark.parametrize(
    ("query", "said"),
    [
        ("since=2027-03-09", "From the day: This day is still to come."),
        ("since=2027-03-01&until=2027-02-01", "To the day: The period ends before it begins"),
        ("dealer=01951a2b-3c4d-7e5f-8a6b-7c8d9e0f1a2b", "None of your dealers has this id."),
        ("since=x&purpose=gift", "Purpose: "),
    ],
)
def test_a_bad_period_is_told_beside_its_field_and_what_was_typed_stays(
    desk: Client, query: str, said: str
) -> None:
    answer = desk.get(f"/desk/flow?{query}")
    assert answer.status_code == 400
    assert said in words(answer)
    if "2027-03-09" in query:
        assert b'value="2027-03-09"' in answer.content


def test_the_link_hands_out_the_same_cars_as_a_file_with_our_headers(
    scene: Scene, desk: Client
) -> None:
    finished(scene, 3)
    page = desk.get("/desk/flow?since=2027-02-01&purpose=retail").content.decode()
    link = re.search(r'href="(/desk/flow\.csv[^"]*)"', page)
    assert link is not None
    address = html.unescape(link[1])
    assert address == "/desk/flow.csv?since=2027-02-01&until=2027-03-01&purpose=retail"
    answer: Any = desk.get(address)
    assert answer.headers["X-Frame-Options"] == "DENY"
    assert answer.headers["Cache-Control"] == "no-store, private"
    assert b"".join(answer).count(b"\r\n") == 1 + 3


def test_a_file_of_a_bad_period_leads_back_to_the_page(desk: Client) -> None:
    answer = desk.get("/desk/flow.csv?since=2027-03-09")
    assert answer.status_code == 303
    assert answer.headers["Location"] == "/desk/flow?since=2027-03-09"


def test_a_full_page_is_under_sixty_kilobytes_and_twelve_queries(
    scene: Scene, desk: Client, django_assert_max_num_queries: Any
) -> None:
    finished(scene, 120, slow=100)
    with django_assert_max_num_queries(12):
        answer = desk.get("/desk/flow")
    assert len(answer.content) < 40_000  # the style sheets come on top
