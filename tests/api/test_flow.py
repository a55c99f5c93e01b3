"""Where cars wait, over the API: what is kept of each car, the figures, the file of cars."""

import csv
import io
from collections.abc import Callable, Iterator
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
import time_machine
from django.utils.timezone import localtime

from core.clock import now
from core.models import Sweep
from core.queue_settings import beat_schedule
from jobs.work.calc.flow.course import CAUSES, STAGES
from jobs.work.models import DayCapacity, FlowCar, Job
from jobs.work.selectors.flow.figures import BEFORE_CHART, CHARTED
from jobs.work.services.flow import flow_fill, flow_note
from jobs.work.tasks import fill_flow
from tests.api.steps import arrived, detail, done, fields, moved, ready, refused
from tests.calc import test_chart_experiment
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
    return next(one for one in flow["stages"] if one["stage"] == name)


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
    assert sum(one["minutes"] for one in flow["stages"]) == 240
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
    told = {"purpose": "retail", "cleaning_working": lead, "person_seconds": lead, **about}
    return FlowCar.objects.create(
        job=job,
        workshop=scene.workshop,
        dealer=dealer,
        arrived_at=arrived_at,
        ready_at=moment,
        lead_seconds=lead,
        **told,
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
    assert len(list(csv.reader(io.StringIO(_text(stranger.get("/flow.csv")))))) == 1
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
        return {(one["stage"], one["cause"]): one["cars"] for one in read(api)["in_work"]}

    here = {
        ("intake", "nobody_on_it"): 1,
        ("cleaning", "weather"): 1,
        ("cleaning", "working"): 1,
    }
    assert counted() == {**here, ("curing", "drying"): 1}
    clock.shift(timedelta(hours=2))  # it ought to be dry, and waits for somebody to feel it
    assert counted() == {**here, ("curing", "nobody_on_it"): 1}


def test_littles_law_names_what_the_period_cut_off(scene: Scene) -> None:
    flow_car(scene, 1, ready_at=NINE, lead_seconds=33 * 3600)  # 24 of its hours before the day
    arrived(scene)
    Job.objects.filter(registration="TU21 ABC").update(arrived_at=NINE + timedelta(hours=4))
    law = read(scene.workshop_api(), "?since=2027-03-01&until=2027-03-01")["little"]
    hours = 19  # midnight to now
    assert law["mean_inside"] == pytest.approx((9 + 6) / hours, abs=0.001)
    assert law["by_law"] == pytest.approx(33 / hours, abs=0.001)
    assert law["before_the_period"] == pytest.approx(24 / hours, abs=0.001)
    assert law["unfinished_at_its_end"] == pytest.approx(6 / hours, abs=0.001)
    assert law["difference"] == pytest.approx((6 - 24) / hours, abs=0.001)


def test_the_chart_flags_the_car_that_took_far_longer(scene: Scene) -> None:
    for number in range(24):
        lead = 3600 * (90 if number == 20 else 4 + number % 3)
        ready_at = NINE - timedelta(hours=24 - number)
        flow_car(scene, number, ready_at=ready_at, lead_seconds=lead)
    chart = read(scene.workshop_api())["chart"]
    flagged = {
        point["registration"]: set(point["rules"]) for point in chart["points"] if point["rules"]
    }
    assert flagged == {"TU21 020": {"beyond_limits"}}
    assert not chart["limits"]["provisional"]
    assert chart["limits"]["lower_minutes"] > 0
    first = next(signal for signal in chart["signals"] if signal["rule"] == "beyond_limits")
    assert first["words"] == "slower than the limit"
    assert first["job_id"] == chart["points"][20]["job_id"]
    assert chart["compared_with_cars"] == 0
    assert "at most one shows a sign," in chart["steady"]
    assert chart["steady"].endswith("to tell a lasting change from chance.")  # of 24 cars


def test_cars_before_the_period_say_what_is_usual(scene: Scene) -> None:
    """Twenty slower cars alone look like any others; after thirty quicker ones they do not."""
    for number in range(50):
        today = number >= 30
        lead = 3600 * (4 + number % 3) * (3 if today else 1)
        ready_at = NINE - timedelta(minutes=50 - number, days=not today)
        flow_car(scene, number, ready_at=ready_at, lead_seconds=lead)
    chart = read(scene.workshop_api(), "?since=2027-03-01")["chart"]
    assert (len(chart["points"]), chart["compared_with_cars"]) == (20, 30)
    told = [signal for signal in chart["signals"] if signal["rule"] == "lasting_shift"]
    assert [(one["side"], one["cars"]) for one in told] == [("above", 20)]
    assert told[0]["words"] == "20 cars slower than those before, taken together"


def test_the_chart_says_how_large_a_change_it_would_show(scene: Scene) -> None:
    for number in range(100):
        ready_at = NINE - timedelta(minutes=100 - number)
        flow_car(scene, number, ready_at=ready_at, lead_seconds=3600 * (4 + number % 3))
    words = read(scene.workshop_api())["chart"]["steady"]
    assert "once times are about 1.2 times as long as they were" in words


def test_the_chart_is_the_one_whose_errors_were_counted() -> None:
    assert (CHARTED, BEFORE_CHART) == (test_chart_experiment.CHARTED, test_chart_experiment.BEFORE)


def test_the_load_is_told_once_minutes_of_work_are_set(scene: Scene) -> None:
    flow_car(scene, 1, person_seconds=240 * 60)
    api = scene.workshop_api()
    query = "?since=2027-03-01&until=2027-03-01"  # a Monday
    assert read(api, query)["limiting"]["load"] is None
    DayCapacity.objects.create(workshop=scene.workshop, weekday=0, minutes=480)
    load = read(api, query)["limiting"]["load"]
    assert (load["percent"], load["people"]) == (50, 1)
    assert load["wait_minutes"] == 240  # M/M/1: a half of a half is as long as the work
    assert load["wait_minutes_with_a_tenth_more_cars"] == pytest.approx(293.3, abs=0.1)
    assert load["words"] == (
        "A car waits about 4 h of opening time for somebody. "
        "With a tenth more cars: about 4 h 53 min."
    )
    assert read(api, f"{query}&purpose=retail")["limiting"]["load"] is None


@pytest.mark.parametrize("worked", [471, 479, 480, 481, 2000])
def test_at_and_near_a_full_load_it_says_that_waiting_grows_without_end(
    scene: Scene, worked: int
) -> None:
    for number in range(7):
        flow_car(scene, number, person_seconds=worked * 60 // 7)
    flow_car(scene, 7, person_seconds=worked * 60 - 7 * (worked * 60 // 7))
    DayCapacity.objects.create(workshop=scene.workshop, weekday=0, minutes=480)
    load = read(scene.workshop_api(), "?since=2027-03-01&until=2027-03-01")["limiting"]["load"]
    assert load["percent"] == round(worked / 4.8, 1)
    assert load["words"] == "More work than hours: waiting grows without end."
    assert load["wait_minutes"] is load["wait_minutes_with_a_tenth_more_cars"] is None


@pytest.mark.parametrize("day", ["2026-03-29", "2026-10-25"])
def test_one_car_inside_on_a_day_the_clocks_change_is_one_car(scene: Scene, day: str) -> None:
    arrived(scene)
    Job.objects.filter(registration="TU21 ABC").update(arrived_at=datetime(2026, 3, 1, tzinfo=UTC))
    law = read(scene.workshop_api(), f"?since={day}&until={day}")["little"]
    assert law["mean_inside"] == 1.0


def _text(answer: Any) -> str:
    assert answer.status_code == 200, answer.content
    return b"".join(answer).decode()


def test_the_file_has_a_line_for_each_car_with_its_minutes(scene: Scene) -> None:
    worked(scene, due_at=at(4.5))
    answer = scene.workshop_api().get("/flow.csv")
    assert answer.streaming
    assert answer.headers["Content-Type"] == "text/csv; charset=utf-8"
    assert "flow-2026-12-02-2027-03-01.csv" in answer.headers["Content-Disposition"]
    (car,) = csv.DictReader(io.StringIO(_text(answer)))
    assert (car["registration"], car["dealer"], car["on_time"]) == (
        "TU21 ABC", "Brackmoor Cars", "yes",
    )  # fmt: skip
    assert car["ready_at"] == localtime(NINE + timedelta(hours=4)).isoformat()
    told = {
        name.removesuffix("_minutes"): float(value)
        for name, value in car.items()
        if name.endswith("_minutes") and float(value)
    }
    assert told == {"lead": 240, "person": 30, **WORKED}


def test_a_spreadsheet_calculates_nothing_in_the_file(scene: Scene) -> None:
    refs = ["=1+1", "+1", "-1", "@SUM(A1)", "\t=1", "ordinary"]
    for number, ref in enumerate(refs):
        flow_car(scene, number, dealer_ref=ref)
    rows = list(csv.DictReader(io.StringIO(_text(scene.workshop_api().get("/flow.csv")))))
    told = {row["dealer_ref"] for row in rows}
    assert told == {"'=1+1", "'+1", "'-1", "'@SUM(A1)", "'\t'=1", "ordinary"}


def test_the_sweep_keeps_cars_from_before_and_running_it_twice_changes_nothing(
    scene: Scene,
) -> None:
    job = worked(scene)
    FlowCar.objects.all().delete()
    fill_flow()
    first = FlowCar.objects.values().get()
    assert parts(kept(job)) == WORKED
    fill_flow()
    assert FlowCar.objects.values().get() == first


def test_the_sweep_puts_right_what_slipped_through(scene: Scene) -> None:
    moved_again = worked(scene)
    FlowCar.objects.update(ready_at=NINE, lead_seconds=1)
    gone_back = ready(scene, dealer_ref="PX-2", registration="TU21 ABD")
    Job.objects.filter(pk=gone_back["id"]).update(
        ready_at=None, ready_number=None, stage="cleaning"
    )
    assert flow_fill(limit=10) == 2
    assert kept(moved_again).lead_seconds == 4 * 3600
    assert not FlowCar.objects.filter(pk=gone_back["id"]).exists()
    assert flow_fill(limit=10) == 0


def test_a_run_of_the_sweep_takes_no_more_than_it_is_told(scene: Scene) -> None:
    for number in range(3):
        flow_car(scene, number)
    FlowCar.objects.all().delete()
    assert [flow_fill(limit=2) for _ in range(3)] == [2, 1, 0]
    assert FlowCar.objects.count() == 3


@pytest.mark.django_db
def test_the_sweep_is_planned_and_named() -> None:
    assert "jobs.tasks.fill_flow" in {one["task"] for one in beat_schedule.values()}
    fill_flow()
    assert Sweep.objects.filter(name="fill_flow").exists()


def test_it_takes_the_same_few_queries_however_many_cars(
    scene: Scene, django_assert_num_queries: Callable[[int], Any]
) -> None:
    api = scene.workshop_api()
    for number in range(2):
        flow_car(scene, number)
        arrived(scene, dealer_ref=f"P{number}", registration=f"TU21 XY{number}")
        read(api)
        with django_assert_num_queries(7):  # the key, the dealers, the figures' five
            read(api)


def test_a_day_that_is_not_over_ends_now(scene: Scene) -> None:
    flow_car(scene, 1, ready_at=NINE, lead_seconds=3600)
    law = read(scene.workshop_api(), "?since=2027-03-01")["little"]
    assert law["mean_inside"] == pytest.approx(1 / 19, abs=0.001)  # hours since midnight
