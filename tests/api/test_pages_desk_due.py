"""Cars due against capacity, as the page tells it: local days, minutes set, sums in words."""

from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
import time_machine
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from jobs.work.models import DayCapacity
from tests.api.desk import MOST_QUERIES, awaited, busy, named, signed_in, text_of
from tests.api.looked import tight
from tests.api.steps import arrived, detail, done, moved, posted, ready
from tests.scene import Scene, person_api

AT = datetime(2027, 3, 4, 12, 0, tzinfo=UTC)  # Thursday noon
WEEK = ("monday", "tuesday", "wednesday", "thursday", "friday", "saturday", "sunday")
WORKDAYS = dict.fromkeys(WEEK[:5], "480")
pytestmark = pytest.mark.django_db


def due(desk: Client) -> Any:
    """Return the page."""
    answer = desk.get("/desk/due")
    assert answer.status_code == 200
    return answer


def days(desk: Client, count: int) -> list[tuple[int, int, int, int]]:
    """Return cars, minutes to do by the end, minutes there are, minutes over of the first days."""
    loads = due(desk).context["load"].days[:count]
    return [(load.wanted.cars, load.must, load.available, load.over) for load in loads]


def test_without_minutes_set_it_says_to_set_them_first_with_an_example(scene: Scene) -> None:
    desk = signed_in(scene.owner)
    posted(scene.dealer_api(), **named(1, due_at=datetime.now(UTC) + timedelta(hours=1)))
    page = text_of(due(desk))
    assert "First set how many minutes of work there are on each day of the week" in page
    assert "Two people for eight hours each are 960 minutes." in page
    assert "min of" not in page
    assert "60 min" in page


def test_minutes_are_set_for_each_day_of_the_week(scene: Scene) -> None:
    desk = signed_in(scene.manager)
    page = text_of(desk.post("/desk/due", WORKDAYS, follow=True))
    assert "The minutes of each day are set." in page
    desk.post("/desk/due", {**WORKDAYS, "saturday": "240", "friday": ""})
    kept = DayCapacity.objects.filter(workshop=scene.workshop).order_by("weekday")
    assert [capacity.minutes for capacity in kept] == [480, 480, 480, 480, 0, 240, 0]
    assert 'name="saturday" type="number" autocomplete="off" value="240"' in text_of(due(desk))


def test_wrong_minutes_are_named_all_at_once_and_nothing_is_kept(scene: Scene) -> None:
    desk = signed_in(scene.manager)
    typed = {**WORKDAYS, "tuesday": "eight hours", "sunday": "-5"}
    page = text_of(desk.post("/desk/due", typed), 400)
    assert 'id="tuesday-wrong"' in page
    assert 'id="sunday-wrong"' in page
    assert 'value="eight hours"' in page
    assert not DayCapacity.objects.exists()
    empty = text_of(desk.post("/desk/due", dict.fromkeys(WEEK, "")), 400)
    assert "Give the minutes of at least one day." in empty


def test_the_days_say_what_must_be_done_of_what_there_is(scene: Scene) -> None:
    with time_machine.travel(AT, tick=False):
        desk = signed_in(scene.manager)
        desk.post("/desk/due", WORKDAYS)
        dealer = scene.dealer_api()
        work = ["wash_body", "vacuum"]  # 35 and 25 minutes
        for number, due_at in enumerate(
            (AT - timedelta(days=1), AT + timedelta(hours=4), AT + timedelta(days=2), None)
        ):
            posted(dealer, **named(number, operations=work, due_at=due_at))
        posted(dealer, **named(9, due_at=AT + timedelta(days=20)))
        page = text_of(due(desk))
        load = due(desk).context["load"]
        assert days(desk, 4) == [
            (1, 120, 480, 0),
            (0, 120, 960, 0),
            (1, 180, 960, 0),
            (0, 180, 960, 0),
        ]
    assert (load.late.cars, load.undated.cars, load.beyond.cars) == (1, 1, 1)
    assert "120 min of 480" in page
    assert "1 car, 1 h" in page


def test_more_than_fits_is_said_in_hours_and_minutes(scene: Scene) -> None:
    with time_machine.travel(AT, tick=False):
        desk = signed_in(scene.manager)
        desk.post("/desk/due", {"thursday": "20"})
        soon = AT + timedelta(hours=2)
        for number in range(2):
            posted(scene.dealer_api(), **named(number, due_at=soon))
        page = text_of(due(desk))
        bar = due(desk).context["bars"][0]
    assert '120 min of 20<strong class="badge danger">over by 1 h 40 min</strong>' in tight(page)
    assert (bar.room, bar.must, bar.over) == (16.7, 16.7, 83.3)


def test_what_was_worked_today_is_not_there_any_more_and_counts_as_done(scene: Scene) -> None:
    with time_machine.travel(AT, tick=False) as clock:
        due_at = AT + timedelta(hours=5)
        job = moved(scene.workshop_api(), arrived(scene, **named(1, due_at=due_at)), "cleaning")
        wash, vacuum = detail(scene.workshop_api(), job)["tasks"]
        path, tam = f"/jobs/{job['id']}/tasks", person_api(scene.valeter)
        done(tam.post(f"{path}/{wash['id']}/start"))
        clock.shift(timedelta(minutes=20))
        done(tam.post(f"{path}/{wash['id']}/finish", {"done": False}))
        done(tam.post(f"{path}/{vacuum['id']}/start"))
        clock.shift(timedelta(minutes=10))
        desk = signed_in(scene.manager)
        desk.post("/desk/due", WORKDAYS)
        (today,) = days(desk, 1)
        assert today == (1, 15 + 15, 480 - 30, 0)
        clock.shift(timedelta(hours=2))  # the vacuum took longer than planned: nothing below zero
        (today,) = days(signed_in(scene.manager), 1)
    assert today == (1, 15, 480 - 150, 0)


def test_ready_cars_and_orders_not_accepted_are_in_no_sum(scene: Scene) -> None:
    with time_machine.travel(AT, tick=False):
        desk = signed_in(scene.manager)
        desk.post("/desk/due", WORKDAYS)
        ready(scene, **named(1, due_at=AT + timedelta(hours=1)))
        awaited(scene)
        assert days(desk, 1) == [(0, 0, 480, 0)]
        assert "neither is 1 order that" in text_of(due(desk))


@pytest.mark.parametrize(
    ("at", "days_after", "hour", "day"),
    [
        # Clocks go forward on 28 March 2027 and back on 31 October 2027.
        (datetime(2027, 3, 27, 12, tzinfo=UTC), 1, 22, "2027-03-28"),
        (datetime(2027, 3, 27, 12, tzinfo=UTC), 1, 23, "2027-03-29"),
        (datetime(2027, 10, 30, 11, tzinfo=UTC), 1, 23, "2027-10-31"),
        (datetime(2027, 10, 30, 11, tzinfo=UTC), 2, 0, "2027-11-01"),
    ],
)
def test_a_car_stands_on_the_workshops_own_day_also_when_clocks_change(
    scene: Scene, at: datetime, days_after: int, hour: int, day: str
) -> None:
    with time_machine.travel(at, tick=False):
        due_at = at.replace(hour=hour, minute=30) + timedelta(days=days_after)
        posted(scene.dealer_api(), **named(1, due_at=due_at))
        load = due(signed_in(scene.manager)).context["load"]
    assert [planned.day.isoformat() for planned in load.days if planned.wanted.cars] == [day]
    gaps = {
        later.day - earlier.day for earlier, later in zip(load.days, load.days[1:], strict=False)
    }
    assert gaps == {timedelta(days=1)}


def test_another_workshop_sets_its_own_minutes(scene: Scene) -> None:
    signed_in(scene.manager).post("/desk/due", WORKDAYS)
    stranger = scene.owner
    stranger.organisation = scene.stranger_workshop
    stranger.save()
    assert due(signed_in(stranger)).context["set"] is False


def test_the_page_takes_as_many_queries_for_ten_cars_as_for_one(scene: Scene) -> None:
    desk = signed_in(scene.manager)
    desk.post("/desk/due", WORKDAYS)

    def taken() -> int:
        with CaptureQueriesContext(connection) as queries:
            due(desk)
        return len(queries)

    busy(scene, 0)
    few = taken()
    for number in range(1, 10):
        busy(scene, number)
    assert taken() == few <= MOST_QUERIES
