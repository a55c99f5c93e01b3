"""Where cars wait, further: what a period cuts off, the chart, and what is kept of each car."""

import csv
import io
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from django.utils.timezone import localtime

from core.models import Sweep
from core.queue_settings import beat_schedule
from jobs.work.models import DayCapacity, FlowCar, Job
from jobs.work.selectors.flow.figures import BEFORE_CHART, CHARTED
from jobs.work.services.flow import flow_fill
from jobs.work.tasks import fill_flow
from tests.api.steps import arrived, ready
from tests.api.test_flow import (
    NINE,
    WORKED,
    at,
    clock,
    flow_car,
    kept,
    parts,
    read,
    sheet_text,
    worked,
)
from tests.calc import test_chart_experiment
from tests.scene import Scene

__all__ = ["clock"]  # the fixture, for pytest to find


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
    shifts = [signal for signal in chart["signals"] if signal["rule"] == "lasting_shift"]
    assert [(signal["side"], signal["cars"]) for signal in shifts] == [("above", 20)]
    assert shifts[0]["words"] == "20 cars slower than those before, taken together"


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


def test_the_file_has_a_line_for_each_car_with_its_minutes(scene: Scene) -> None:
    worked(scene, due_at=at(4.5))
    answer = scene.workshop_api().get("/flow.csv")
    assert answer.streaming
    assert answer.headers["Content-Type"] == "text/csv; charset=utf-8"
    assert "flow-2026-12-02-2027-03-01.csv" in answer.headers["Content-Disposition"]
    (car,) = csv.DictReader(io.StringIO(sheet_text(answer)))
    assert (car["registration"], car["dealer"], car["on_time"]) == (
        "TU21 ABC", "Brackmoor Cars", "yes",
    )  # fmt: skip
    assert car["ready_at"] == localtime(NINE + timedelta(hours=4)).isoformat()
    minutes = {
        name.removesuffix("_minutes"): float(value)
        for name, value in car.items()
        if name.endswith("_minutes") and float(value)
    }
    assert minutes == {"lead": 240, "person": 30, **WORKED}


def test_a_spreadsheet_calculates_nothing_in_the_file(scene: Scene) -> None:
    refs = ["=1+1", "+1", "-1", "@SUM(A1)", "\t=1", "ordinary"]
    for number, ref in enumerate(refs):
        flow_car(scene, number, dealer_ref=ref)
    rows = list(csv.DictReader(io.StringIO(sheet_text(scene.workshop_api().get("/flow.csv")))))
    written = {row["dealer_ref"] for row in rows}
    assert written == {"'=1+1", "'+1", "'-1", "'@SUM(A1)", "'\t'=1", "ordinary"}


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
    assert "jobs.tasks.fill_flow" in {entry["task"] for entry in beat_schedule.values()}
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
