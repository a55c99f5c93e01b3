"""Where cars wait, over the API: what is kept of each car, the figures, the file of cars."""

import csv
import io
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
import time_machine

from core.clock import now
from jobs.work.calc.flow.course import CAUSES, STAGES
from jobs.work.models import FlowCar, Job
from jobs.work.services.flow import flow_note
from tests.api.steps import arrived, detail, done, fields, moved, refused
from tests.figures import without_ids
from tests.scene import Api, Scene, key_api, order

NINE = datetime(2027, 3, 1, 9, 0, tzinfo=UTC)
EVENING = NINE + timedelta(hours=10)


@pytest.fixture(autouse=True)
def clock() -> Iterator[Any]:
    """Stop the clock in the evening of a working day."""
    with time_machine.travel(EVENING, tick=False) as moved_clock:
        yield moved_clock


def at(hours: float) -> str:
    return (NINE + timedelta(hours=hours)).isoformat()


def act(api: Api, job: Any, what: str, hours: float, **body: Any) -> Any:
    """Do something to a job at so many hours after nine."""
    return done(api.post(f"/jobs/{job['id']}/{what}", {"occurred_at": at(hours), **body}))


def move(api: Api, job: Any, to: str, hours: float, **more: Any) -> None:
    act(api, job, "moves", hours, to=to, version=detail(api, job)["version"], confirm=True, **more)


def worked(scene: Scene, **changes: Any) -> Any:
    """Bring a car through a day: cleaned from 10:30 to 11, on hold from 11 to 12, ready at 13."""
    api = scene.workshop_api()
    job = done(scene.dealer_api().post("/work-orders", order(**changes)))
    act(api, job, "arrival", 0)
    move(api, job, "cleaning", 1)
    task = detail(api, job)["tasks"][0]["id"]
    act(api, job, f"tasks/{task}/start", 1.5)
    act(api, job, f"tasks/{task}/finish", 2)
    act(api, job, "holds", 2, cause="parts")
    hold = detail(api, job)["holds"][0]["id"]
    act(api, job, f"holds/{hold}/release", 3)
    move(api, job, "ready", 4)
    return detail(api, job)


def kept(job: Any) -> FlowCar:
    return FlowCar.objects.get(pk=job["id"])


def parts(car: FlowCar) -> dict[str, float]:
    """Return the parts that are not empty, in minutes."""
    names = [f"{stage}_{cause}" for stage in STAGES for cause in CAUSES]
    names += [f"for_{stage}" for stage in STAGES[1:]]
    return {name: getattr(car, name) / 60 for name in names if getattr(car, name)}


WORKED = {
    "intake_nobody_on_it": 60,
    "cleaning_working": 30,
    "cleaning_parts": 60,
    "cleaning_nobody_on_it": 30 + 60,
    "for_cleaning": 60 + 30,
    "for_ready": 60,
}


def test_becoming_ready_keeps_where_the_time_went(scene: Scene) -> None:
    job = worked(scene, due_at=at(3.5), purpose="auction")
    car = kept(job)
    assert parts(car) == WORKED
    assert (car.lead_seconds, car.person_seconds) == (4 * 3600, 1800)
    assert (car.workshop, car.dealer) == (scene.workshop, scene.dealer)
    assert (car.purpose, car.on_time, car.rework_count) == ("auction", False, 0)


def test_a_car_without_a_time_to_be_ready_by_is_neither_in_time_nor_late(scene: Scene) -> None:
    assert kept(worked(scene)).on_time is None
    in_time = worked(scene, dealer_ref="PX-2", registration="TU21 ABD", due_at=at(4))
    assert kept(in_time).on_time is True


def test_going_back_takes_it_away_and_ready_again_counts_the_time_as_ready(scene: Scene) -> None:
    job, api = worked(scene), scene.workshop_api()
    move(api, job, "cleaning", 5, reason="Streaks on the glass.")
    assert not FlowCar.objects.filter(pk=job["id"]).exists()
    move(api, job, "ready", 6)
    car = kept(job)
    assert car.rework_count == 1
    assert car.lead_seconds == 6 * 3600
    assert parts(car)["ready_nobody_on_it"] == 60
    assert parts(car)["cleaning_nobody_on_it"] == 90 + 60


def test_what_was_told_late_is_in_it_after_the_collection(scene: Scene) -> None:
    job, api = worked(scene), scene.workshop_api()
    task = detail(api, job)["tasks"][1]["id"]
    act(api, job, f"tasks/{task}/start", 3)
    act(api, job, f"tasks/{task}/finish", 3.5)
    assert parts(kept(job)) == WORKED
    act(api, job, "collection", 8, confirm=True)
    car = kept(job)
    assert parts(car)["cleaning_working"] == 60
    assert car.lead_seconds == 4 * 3600


@pytest.mark.parametrize(
    ("ends", "felt", "dried"),
    [(2.5, 3.5, 30), (3.5, 2.75, 45), (3.5, None, 90), (9, None, 120)],
)
def test_what_dries_is_waited_for_until_it_is_done_or_somebody_felt_it(
    scene: Scene, ends: float, felt: float | None, dried: int
) -> None:
    """What ought to be dry waits for a person to feel it, not for the air."""
    job = worked(scene)
    hold_free = Job.objects.get(pk=job["id"])
    hold_free.holds.all().delete()
    hold_free.clocks.create(
        task=hold_free.tasks.earliest("pk"), kind="drying", touch_test=True,
        started_at=NINE + timedelta(hours=2), ends_at=NINE + timedelta(hours=ends),
        closed_at=None if felt is None else NINE + timedelta(hours=felt),
    )  # fmt: skip
    flow_note(hold_free)
    assert parts(kept(job))["cleaning_drying"] == dried
    assert parts(kept(job)).get("cleaning_nobody_on_it", 0) == 30 + 120 - dried


def test_a_car_collected_before_it_was_ready_is_not_kept(scene: Scene) -> None:
    job, api = arrived(scene), scene.workshop_api()
    done(
        api.post(f"/jobs/{job['id']}/collection", {"reason": "Sold as it stands.", "confirm": True})
    )
    assert FlowCar.objects.count() == 0


def read(api: Api, query: str = "") -> Any:
    return done(api.get(f"/flow{query}"))


def stage(flow: Any, name: str) -> Any:
    return next(row for row in flow["stages"] if row["stage"] == name)


def test_the_figures_of_one_car_are_its_own(scene: Scene) -> None:
    worked(scene, due_at=at(4.5))
    flow = read(scene.workshop_api())
    assert (flow["since"], flow["until"]) == ("2026-12-02", "2027-03-01")
    assert flow["cars"] == {
        "finished": 1, "arrived": 1, "inside_at_start": 0, "inside_at_end": 0,
    }  # fmt: skip
    cleaning = stage(flow, "cleaning")
    assert (cleaning["cars"], cleaning["minutes"], cleaning["share_percent"]) == (1, 180, 75)
    assert (cleaning["working_minutes"], cleaning["waiting_minutes"]) == (30, 150)
    causes = {cause["cause"]: cause["minutes"] for cause in cleaning["causes"] if cause["minutes"]}
    assert causes == {"working": 30, "parts": 60, "nobody_on_it": 90}
    assert sum(row["minutes"] for row in flow["stages"]) == 240
    lead = {"cars": 1, "p50_minutes": 240, "p80_minutes": 240, "few": True}
    assert flow["lead"]["all"] == {"dealer_id": None, "dealer": "", "purpose": "", **lead}
    assert flow["lead"]["by_dealer_and_purpose"] == [
        {"dealer_id": str(scene.dealer.pk), "dealer": "Brackmoor Cars", "purpose": "retail", **lead}
    ]
    assert flow["on_time"] == {"with_due": 1, "on_time": 1, "percent": 100}
    assert flow["rework"] == {"cars": 0, "percent": 0}
    assert flow["limiting"]["stage"] == "cleaning"
    assert flow["limiting"]["minutes"] == 120
    assert flow["chart"]["limits"] is None
    assert [point["registration"] for point in flow["chart"]["points"]] == ["TU21 ABC"]


def test_a_workshop_without_any_car_is_answered_all_the_same(scene: Scene) -> None:
    flow = read(scene.workshop_api())
    assert flow["lead"]["all"] is None
    assert flow["on_time"] == {"with_due": 0, "on_time": 0, "percent": None}
    assert flow["limiting"]["stage"] is None
    assert flow["little"]["mean_inside"] == flow["little"]["by_law"] == 0


def test_amounts_of_money_are_nowhere(scene: Scene) -> None:
    worked(scene, cap_amount="987.65", cap_currency="GBP")
    api = scene.workshop_api()
    text = api.get("/flow").content + b"".join(api.get("/flow.csv"))
    assert "987.65" not in without_ids(text)
    assert b"GBP" not in text


def flow_car(scene: Scene, number: int, **about: Any) -> FlowCar:
    """Make a finished car of four hours by itself, with changes."""
    moment = about.pop("ready_at", NINE)
    lead = about.pop("lead_seconds", 4 * 3600)
    dealer = about.pop("dealer", scene.dealer)
    arrived_at = moment - timedelta(seconds=lead)
    job = Job.objects.create(
        dealer=dealer,
        workshop=scene.workshop,
        dealer_ref=about.pop("dealer_ref", f"S-{number}"),
        registration=f"TU21 {number:03}",
        registration_key=f"TU21{number:03}",
        stage="ready",
        decision="accepted",
        is_open=False,
        arrived_at=arrived_at,
        ready_at=moment,
        received_at=moment,
        updated_at=moment,
    )
    values = {"purpose": "retail", "cleaning_working": lead, "person_seconds": lead, **about}
    return FlowCar.objects.create(
        job=job,
        workshop=scene.workshop,
        dealer=dealer,
        arrived_at=arrived_at,
        ready_at=moment,
        lead_seconds=lead,
        **values,
    )


def test_it_can_be_narrowed_to_a_period_a_dealer_or_a_purpose(scene: Scene) -> None:
    flow_car(scene, 1, ready_at=NINE - timedelta(days=100))
    flow_car(scene, 2, ready_at=NINE - timedelta(days=3), purpose="trade")
    flow_car(scene, 3)
    api = scene.workshop_api()

    def finished(query: str) -> int:
        return int(read(api, query)["cars"]["finished"])

    assert finished("") == 2
    assert finished("?since=2026-10-01") == 3
    assert finished("?until=2027-02-27&since=2026-10-01") == 2
    assert finished("?since=2027-02-26&until=2027-02-26") == 1
    assert finished("?purpose=trade") == 1
    assert finished(f"?dealer={scene.dealer.pk}&purpose=retail") == 1


def test_a_day_is_the_workshops_own(scene: Scene, clock: Any) -> None:
    """In summer a car ready at 23:30 UTC was ready on the next day by the clock on the wall."""
    clock.move_to(datetime(2027, 7, 20, 12, tzinfo=UTC))
    flow_car(scene, 1, ready_at=datetime(2027, 7, 10, 23, 30, tzinfo=UTC))
    api = scene.workshop_api()
    assert read(api, "?since=2027-07-11&until=2027-07-11")["cars"]["finished"] == 1
    assert read(api, "?since=2027-07-10&until=2027-07-10")["cars"]["finished"] == 0


def test_cars_of_others_are_in_no_figure(scene: Scene) -> None:
    worked(scene)
    stranger = key_api(scene.stranger_workshop)
    flow = read(stranger)
    assert (flow["cars"]["finished"], flow["in_work"], flow["chart"]["points"]) == (0, [], [])
    assert len(list(csv.reader(io.StringIO(sheet_text(stranger.get("/flow.csv")))))) == 1
    asked = fields(stranger.get(f"/flow?dealer={scene.dealer.pk}"))
    assert asked == fields(stranger.get(f"/flow.csv?dealer={scene.dealer.pk}")) == ["dealer"]


@pytest.mark.parametrize(
    ("query", "wrong"),
    [
        ("since=yesterday", {"since"}),
        ("since=2027-02-30&until=1.3.2027", {"since", "until"}),
        ("since=2027-03-01&until=2027-02-01", {"until"}),
        ("since=2027-03-02", {"since"}),
        ("until=2027-03-02", {"until"}),
        ("since=1999-12-31", {"since"}),
        ("since=2020-01-01", {"since"}),
        ("since=2024-02-26&until=2027-03-01&purpose=x&dealer=1", {"since", "purpose", "dealer"}),
        ("since=&until=", {"since", "until"}),
        ("day=2027-03-01", {"day"}),
    ],
)
@pytest.mark.parametrize("path", ["/flow", "/flow.csv"])
def test_a_bad_period_is_refused_naming_every_field(
    scene: Scene, path: str, query: str, wrong: set[str]
) -> None:
    assert set(fields(scene.workshop_api().get(f"{path}?{query}"))) == wrong


def test_three_years_are_taken(scene: Scene) -> None:
    flow = read(scene.workshop_api(), "?since=2024-03-01&until=2027-03-01")
    assert flow["since"] == "2024-03-01"


def test_a_strange_dealer_is_refused_with_what_to_do(scene: Scene) -> None:
    problem = refused(scene.workshop_api().get(f"/flow?dealer={scene.stranger_dealer.pk}"), 400)
    assert "None of your dealers" in problem["detail"]


def test_the_cars_in_work_stand_by_stage_and_what_they_wait_for(scene: Scene, clock: Any) -> None:
    api = scene.workshop_api()
    marks = iter(f"TU21 A{letter}C" for letter in "ABDEFG")

    def car(*steps: str) -> Any:
        mark = next(marks)
        return moved(api, arrived(scene, dealer_ref=mark, registration=mark), *steps)

    car()
    held, worked_on, wet = car("cleaning"), car("cleaning"), car("cleaning", "curing")
    done(api.post(f"/jobs/{held['id']}/holds", {"cause": "weather"}))
    task = detail(api, worked_on)["tasks"][0]["id"]
    done(api.post(f"/jobs/{worked_on['id']}/tasks/{task}/start"))
    drying = Job.objects.get(pk=wet["id"])
    drying.clocks.create(
        task=drying.tasks.earliest("pk"), kind="drying", started_at=now(),
        ends_at=now() + timedelta(hours=1), touch_test=True,
    )  # fmt: skip

    def counted() -> dict[tuple[str, str], int]:
        return {(row["stage"], row["cause"]): row["cars"] for row in read(api)["in_work"]}

    here = {
        ("intake", "nobody_on_it"): 1,
        ("cleaning", "weather"): 1,
        ("cleaning", "working"): 1,
    }
    assert counted() == {**here, ("curing", "drying"): 1}
    clock.shift(timedelta(hours=2))  # it ought to be dry, and waits for somebody to feel it
    assert counted() == {**here, ("curing", "nobody_on_it"): 1}


def sheet_text(answer: Any) -> str:
    assert answer.status_code == 200, answer.content
    return b"".join(answer).decode()
