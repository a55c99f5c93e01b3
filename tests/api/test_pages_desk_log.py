"""The day's log: the workshop's own day, by the time things happened, page by page."""

from datetime import UTC, date, datetime, timedelta
from typing import Any

import pytest
import time_machine
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from core.clock import now
from jobs.work.calc.stages.machine import Kind
from jobs.work.models import HistoryEntry, Job
from jobs.work.selectors.hours import day_span
from tests.api.desk import MOST_QUERIES, busy, named, signed_in, text_of
from tests.api.looked import tight
from tests.api.steps import arrived, detail, done, moved, posted
from tests.scene import Api, Scene, person_api

AT = datetime(2027, 3, 4, 12, 0, tzinfo=UTC)
pytestmark = pytest.mark.django_db


def sentences(desk: Client, query: str = "") -> list[str]:
    """Return what the log of a day says, line by line."""
    answer = desk.get(f"/desk/log{query}")
    assert answer.status_code == 200
    return [line.sentence for line in answer.context["lines"]]


def worked(api: Api, job: Any, clock: Any, *minutes: int) -> None:
    """Work on the job's tasks one after the other, so many minutes on each."""
    for task, spent in zip(detail(api, job)["tasks"], minutes, strict=False):
        done(api.post(f"/jobs/{job['id']}/tasks/{task['id']}/start"))
        clock.shift(timedelta(minutes=spent))
        done(api.post(f"/jobs/{job['id']}/tasks/{task['id']}/finish"))


def test_a_day_is_told_in_the_order_it_happened(scene: Scene) -> None:
    with time_machine.travel(AT, tick=False) as clock:
        desk = signed_in(scene.manager)
        job = arrived(scene, **named(1))
        clock.shift(timedelta(minutes=20))
        posted(scene.dealer_api(), **named(2))
        clock.shift(timedelta(minutes=10))
        at = AT + timedelta(minutes=10)
        move = {"to": "cleaning", "version": job["version"], "occurred_at": at.isoformat()}
        done(person_api(scene.valeter).post(f"/jobs/{job['id']}/moves", move))
        said = sentences(desk)
        page = text_of(desk.get("/desk/log"))
    assert said[2:] == [
        "The car arrived.",
        "Moved from intake to cleaning.",
        "The work order came in.",
        "The order was accepted by itself, as agreed.",
    ]
    assert "Thursday 4 March 2027" in page
    assert 'title="Thursday 4 March 2027, 12:10:00 GMT">12:10</time>' in tight(page)
    assert page.count("sent at") == 1
    assert "12:30</time>" in page
    assert "Tam Brackley" in page


def test_five_minutes_on_the_way_are_not_worth_a_word(scene: Scene) -> None:
    with time_machine.travel(AT, tick=False) as clock:
        job = arrived(scene, **named(1))
        clock.shift(timedelta(minutes=5))
        move = {"to": "cleaning", "version": job["version"], "occurred_at": AT.isoformat()}
        done(scene.workshop_api().post(f"/jobs/{job['id']}/moves", move))
        assert "sent at" not in text_of(signed_in(scene.manager).get("/desk/log"))


def test_the_day_is_the_workshops_own_and_an_entry_sent_later_stands_on_the_day_it_happened(
    scene: Scene,
) -> None:
    last_night = datetime(2027, 6, 30, 22, 30, tzinfo=UTC)  # 23:30 in London
    with time_machine.travel(last_night, tick=False) as clock:
        job = arrived(scene, **named(1))
        clock.move_to(datetime(2027, 7, 1, 7, 0, tzinfo=UTC))
        move = {"to": "cleaning", "version": job["version"]}
        late = {**move, "occurred_at": (last_night + timedelta(minutes=20)).isoformat()}
        done(scene.workshop_api().post(f"/jobs/{job['id']}/moves", late))
        clock.shift(timedelta(minutes=1))
        posted(scene.dealer_api(), **named(2))
        desk = signed_in(scene.manager)
        assert sentences(desk, "?day=2027-06-30")[-1] == "Moved from intake to cleaning."
        assert len(sentences(desk, "?day=2027-06-30")) == 4
        assert sentences(desk) == sentences(desk, "?day=2027-07-01")
        assert len(sentences(desk)) == 2


@pytest.mark.parametrize(
    ("day", "hours"), [("2027-03-28", 23), ("2027-10-31", 25), ("2027-06-30", 24)]
)
def test_a_day_is_as_long_as_the_clocks_say(day: str, hours: int) -> None:
    whole = day_span(date.fromisoformat(day))
    assert (whole.end.astimezone(UTC) - whole.start.astimezone(UTC)) == timedelta(hours=hours)


def test_it_is_narrowed_to_a_person_a_system_or_a_car(scene: Scene) -> None:
    with time_machine.travel(AT, tick=False):
        desk = signed_in(scene.manager)
        job = arrived(scene, **named(1))
        moved(person_api(scene.valeter), job, "cleaning")
        arrived(scene, **named(2))
        assert len(sentences(desk)) == 7
        assert sentences(desk, f"?who={scene.valeter.pk}") == [
            "Moved from intake to cleaning. So it is."
        ]
        assert len(sentences(desk, "?who=tests (Brackmoor Cars)")) == 4
        assert len(sentences(desk, "?car=tu21aab")) == 4
        assert len(sentences(desk, "?car=PX-2&who=tests (Fernhollow Valeting)")) == 1
        page = text_of(desk.get("/desk/log?car=nothing"))
        choices = desk.get("/desk/log").context["form"].fields["who"].choices
    assert "Nothing that fits happened on this day." in page
    assert [name for _, name in choices] == [
        "Everybody", "Tam Brackley", "tests (Brackmoor Cars)", "tests (Fernhollow Valeting)",
    ]  # fmt: skip


def test_it_leads_to_the_days_before_and_after_with_what_it_is_narrowed_to(scene: Scene) -> None:
    desk = signed_in(scene.manager)
    page = text_of(desk.get("/desk/log?day=2027-03-01&car=PX-1"))
    assert 'href="?day=2027-02-28&amp;car=PX-1"' in page
    assert 'href="?day=2027-03-02&amp;car=PX-1"' in page
    assert "Nothing" in page


@pytest.mark.parametrize(
    ("query", "named_field"),
    [("day=yesterday", "day"), ("day=0001-01-01", "day"), ("page=0", "page"), ("page=x", "page")],
)
def test_what_is_no_day_or_page_is_refused_in_words(
    scene: Scene, query: str, named_field: str
) -> None:
    answer = signed_in(scene.manager).get(f"/desk/log?{query}")
    text_of(answer, 400)
    assert [field.name for field in answer.context["form"].wrong] == [named_field]


def test_minutes_worked_are_counted_for_each_person_of_that_day_alone(scene: Scene) -> None:
    midnight = datetime(2027, 3, 4, 23, 50, tzinfo=UTC)
    with time_machine.travel(AT, tick=False) as clock:
        workshop = scene.workshop_api()
        jobs = [moved(workshop, arrived(scene, **named(number)), "cleaning") for number in (1, 2)]
        worked(person_api(scene.valeter), jobs[0], clock, 20, 15)
        milo = person_api(scene.manager)
        wash, _ = detail(milo, jobs[1])["tasks"]
        done(milo.post(f"/jobs/{jobs[1]['id']}/tasks/{wash['id']}/start"))
        clock.shift(timedelta(minutes=10))
        done(milo.post(f"/jobs/{jobs[1]['id']}/holds", {"cause": "weather"}))
        clock.shift(timedelta(minutes=30))
        (hold,) = detail(milo, jobs[1])["holds"]
        done(milo.post(f"/jobs/{jobs[1]['id']}/holds/{hold['id']}/release"))
        done(milo.post(f"/jobs/{jobs[1]['id']}/tasks/{wash['id']}/finish", {"done": False}))
        clock.move_to(midnight)
        done(person_api(scene.manager).post(f"/jobs/{jobs[1]['id']}/tasks/{wash['id']}/start"))
        clock.shift(timedelta(minutes=25))
        desk = signed_in(scene.manager)
        first = dict(desk.get("/desk/log?day=2027-03-04").context["worked"])
        second = dict(desk.get("/desk/log?day=2027-03-05").context["worked"])
        page = text_of(desk.get("/desk/log?day=2027-03-04"))
    assert first == {"Milo Treen": 20, "Tam Brackley": 35}
    assert second == {"Milo Treen": 15}  # still at it
    assert '<th scope="row">Together</th><td class="number">55 min</td>' in page


def entries(job: Any, count: int) -> None:
    """Append so many entries to the history of a job, one a second."""
    kept = Job.objects.get(pk=job["id"])
    HistoryEntry.objects.bulk_create(
        HistoryEntry(
            job=kept,
            number=kept.history_count + index + 1,
            kind=Kind.CHANGE_SEEN.value,
            version=kept.version,
            reason=f"Number {index}",
            occurred_at=now() + timedelta(seconds=index),
            recorded_at=now(),
            actor="Tam Brackley",
            data={},
        )
        for index in range(count)
    )


def test_a_busy_day_comes_by_the_page_or_whole_to_print(scene: Scene) -> None:
    with time_machine.travel(AT, tick=False):
        desk = signed_in(scene.manager)
        entries(arrived(scene, **named(1)), 500)
        pages = [sentences(desk, f"?page={number}") for number in (1, 2, 3)]
        answer = desk.get("/desk/log?page=2")
        whole = sentences(desk, answer.context["links"]["whole"])
        text = text_of(answer)
    assert [len(page) for page in pages] == [200, 200, 103]
    assert [sentence for page in pages for sentence in page] == whole
    assert "503 entries, page 2 of 3" in text
    for words in ("Earlier that day", "Later that day", "All on one page, to print"):
        assert words in text


def test_the_page_takes_as_many_queries_for_a_busy_day_as_for_a_quiet_one(scene: Scene) -> None:
    desk = signed_in(scene.manager)

    def taken() -> int:
        with CaptureQueriesContext(connection) as queries:
            assert desk.get("/desk/log").status_code == 200
        return len(queries)

    job = busy(scene, 0)
    few = taken()
    entries(job, 150)
    for number in range(1, 6):
        busy(scene, number)
    assert taken() == few <= MOST_QUERIES


def test_another_workshops_day_is_not_there(scene: Scene) -> None:
    busy(scene, 1)
    stranger = scene.owner
    stranger.organisation = scene.stranger_workshop
    stranger.save()
    desk = signed_in(stranger)
    assert sentences(desk) == []
    page = text_of(desk.get("/desk/log"))
    assert "Nothing happened on this day yet." in page
    assert "Minutes worked" not in page
