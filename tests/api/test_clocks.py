"""Clocks start with what was done, and go by the air as it was measured."""

from datetime import datetime, timedelta
from itertools import permutations
from typing import Any

import pytest
import time_machine
from pytest_django import DjangoAssertNumQueries

from jobs.work.models import ClimateReading, ClimateSetup, Job, WaitClock
from jobs.work.selectors.curing.clocks import is_running, running_at, waits, waits_of, with_waits
from jobs.work.tasks import work_out_clocks
from tests.api.clock_steps import (
    EIGHT,
    after,
    every_half_hour,
    finished,
    in_curing,
    measured,
    move,
    said,
    task_of,
)
from tests.api.steps import arrived, detail, done, moved, refused
from tests.scene import Scene

SECOND = timedelta(seconds=1)


def only_clock(scene: Scene, job: Any) -> Any:
    (clock,) = detail(scene.workshop_api(), job)["clocks"]
    return clock


def ends(clock: Any) -> datetime:
    return datetime.fromisoformat(clock["ends_at"])


def test_where_nobody_measures_the_minutes_set_are_the_latest(scene: Scene) -> None:
    with time_machine.travel(EIGHT, tick=False):
        clock = only_clock(scene, in_curing(scene, "trim_dressing"))
    assert (clock["basis"], clock["halted"], clock["touch_test"]) == ("not_measured", "", False)
    assert clock["ends_at"] == said(after(minutes=180))
    # At 20 °C, the warmest it is taken to be, Q10 = 2 divides the minutes by the root of 2.
    earliest = datetime.fromisoformat(clock["earliest_at"])
    assert abs(earliest - after(minutes=180 / 2**0.5)) < SECOND


def test_a_car_read_without_its_clocks_is_asked_about_them(
    scene: Scene, django_assert_num_queries: DjangoAssertNumQueries
) -> None:
    """What was not read is not taken for nothing: a car went to ready while a dressing cured."""
    with time_machine.travel(EIGHT, tick=False):
        found = in_curing(scene, "trim_dressing")
        (bare,) = Job.objects.filter(pk=found["id"])
        with django_assert_num_queries(1):
            assert waits(bare)
        (annotated,) = with_waits(Job.objects.filter(pk=found["id"]), EIGHT)
        with django_assert_num_queries(0):
            assert waits_of(annotated) == waits_of(annotated)
        assert waits_of(annotated) == waits_of(bare)
        second_job = Job.objects.get(
            pk=arrived(scene, registration="TU21 ABK", dealer_ref="N")["id"]
        )
        assert not waits(second_job)


def test_a_steady_temperature_gives_the_closed_form_of_q10(scene: Scene) -> None:
    """180 minutes at 15 °C are 180 * 2 ** 0.3 = 221.6 at 12 °C (the rate of ASTM F1980)."""
    with time_machine.travel(EIGHT, tick=False) as clock:
        job = in_curing(scene, "trim_dressing")
        clock.move_to(after(hours=5))
        measured(scene, *every_half_hour(EIGHT, after(hours=5), 12.0))
        work_out_clocks()
        found = only_clock(scene, job)
    assert (found["basis"], found["progress_percent"]) == ("measured", 100)
    assert abs(ends(found) - after(minutes=180 * 2**0.3)) < SECOND


@pytest.mark.parametrize("celsius", [15.0, 18.0, 20.0])
def test_a_trim_dressing_needs_two_to_three_hours_in_a_workshop(
    scene: Scene, celsius: float
) -> None:
    """Before rain or frost, at workshop temperature. Common practice, no source."""
    with time_machine.travel(EIGHT, tick=False) as clock:
        job = in_curing(scene, "trim_dressing")
        clock.move_to(after(hours=4))
        measured(scene, *every_half_hour(EIGHT, after(hours=4), celsius))
        work_out_clocks()
        found = only_clock(scene, job)
    assert after(hours=2) < ends(found) <= after(hours=3)


def test_below_its_lowest_temperature_nothing_cures_and_it_says_so(scene: Scene) -> None:
    with time_machine.travel(EIGHT, tick=False) as clock:
        job = in_curing(scene, "trim_dressing")
        clock.move_to(after(hours=6))
        measured(scene, *every_half_hour(EIGHT, after(hours=6), -1.0))
        problem = refused(move(scene.workshop_api(), job, "ready"), 409)
        assert problem["code"] == "clock_running"
        assert "stands still: it is too cold" in problem["detail"]
        work_out_clocks()
        found = only_clock(scene, job)
    assert (found["halted"], found["progress_percent"]) == ("too_cold", 0)


def test_the_order_in_which_readings_come_does_not_change_the_result(scene: Scene) -> None:
    readings = [(after(hours=hour), celsius) for hour, celsius in ((0, 14.0), (1, 9.5), (2, 17.0))]
    with time_machine.travel(EIGHT, tick=False) as clock:
        job = in_curing(scene, "trim_dressing")
        clock.move_to(after(hours=2))
        found = set()
        for order in permutations(readings):
            ClimateReading.objects.all().delete()
            for reading in order:
                measured(scene, reading)
                work_out_clocks()
            found.add((only_clock(scene, job)["earliest_at"], only_clock(scene, job)["ends_at"]))
    assert len(found) == 1


def test_where_readings_are_missing_there_is_an_interval(scene: Scene) -> None:
    with time_machine.travel(EIGHT, tick=False) as clock:
        measured(scene, (EIGHT, 12.0))
        job = in_curing(scene, "trim_dressing")
        found = only_clock(scene, job)
        assert found["basis"] == "gaps"
        # Known for two hours, then as cold as it was, or 20 °C.
        left = 180 - 120 * 2**-0.3
        assert abs(ends(found) - after(minutes=120 + left * 2**0.3)) < SECOND
        earliest = datetime.fromisoformat(found["earliest_at"])
        assert abs(earliest - after(minutes=120 + left * 2**-0.5)) < SECOND
        clock.move_to(after(hours=4))
        measured(scene, *every_half_hour(after(hours=0.5), after(hours=4), 12.0))
        work_out_clocks()
        found = only_clock(scene, job)
    assert (found["basis"], found["earliest_at"]) == ("measured", found["ends_at"])


def test_a_stuck_sensor_counts_as_none(scene: Scene) -> None:
    with time_machine.travel(EIGHT, tick=False) as clock:
        job = in_curing(scene, "trim_dressing")
        clock.move_to(after(hours=1))
        measured(scene, (EIGHT, 30.0))
        ClimateReading.objects.update(mark=ClimateReading.Mark.STUCK)
        work_out_clocks()
        found = only_clock(scene, job)
    assert (found["basis"], found["ends_at"]) == ("not_measured", said(after(minutes=180)))


def test_cold_lengthens_the_flash_off_of_a_coat_and_the_next_one_waits_for_it(
    scene: Scene,
) -> None:
    workshop = scene.workshop_api()
    with time_machine.travel(EIGHT, tick=False) as clock:
        measured(scene, (EIGHT, 5.0))
        job = moved(workshop, arrived(scene, operations=["sills_refinish"]), "correction")
        path = f"/jobs/{job['id']}/tasks/{task_of(workshop, job, 'sills_refinish')['id']}"
        done(workshop.post(f"{path}/start"))
        done(workshop.post(f"{path}/coats", {"kind": "primer", "flash_off_minutes": 20}))
        clock.move_to(after(minutes=39, seconds=59))
        early = workshop.post(f"{path}/coats", {"kind": "primer"})
        assert refused(early, 409)["code"] == "flashing_off"
        clock.move_to(after(minutes=40))
        assert done(workshop.post(f"{path}/coats", {"kind": "primer"}))["early"] is False


def test_wet_seats_dry_by_the_air_the_workshop_keeps_moving(scene: Scene) -> None:
    ClimateSetup.objects.create(workshop=scene.workshop, air=ClimateSetup.Air.BLOWER)
    workshop = scene.workshop_api()
    with time_machine.travel(EIGHT, tick=False):
        measured(scene, (EIGHT, 15.0), humidity=60.0)
        job = moved(workshop, arrived(scene, operations=["wet_extraction"]), "cleaning")
        found = finished(workshop, job, "wet_extraction")
    assert (found["kind"], found["touch_test"]) == ("drying", True)
    assert WaitClock.objects.get().air == "blower"
    # Carrier: 0.089 + 0.0782 v, at 3 m/s 3.35 times as much as at 0.1 m/s.
    ratio = (0.089 + 0.0782 * 3) / (0.089 + 0.0782 * 0.1)
    assert abs(ends(found) - after(minutes=240 / ratio)) < timedelta(seconds=30)


def test_a_reading_leaves_a_running_clock_no_wider_than_it_was(scene: Scene) -> None:
    """66 minutes of 240 without one; 12 °C and 68 % made 128 of 366, and once 16 hours."""
    workshop = scene.workshop_api()
    with time_machine.travel(EIGHT, tick=False) as clock:
        job = moved(workshop, arrived(scene, operations=["wet_extraction"]), "cleaning")
        widths, last = [], finished(workshop, job, "wet_extraction")
        for minutes, celsius, humidity in ((1, 12.0, 68.0), (60, 6.0, 85.0), (200, 21.0, 50.0)):
            widths.append(ends(last) - datetime.fromisoformat(last["earliest_at"]))
            clock.move_to(after(minutes=minutes))
            measured(scene, (after(minutes=minutes), celsius), humidity=humidity)
            work_out_clocks()
            last = only_clock(scene, job)
        widths.append(ends(last) - datetime.fromisoformat(last["earliest_at"]))
    assert widths == sorted(widths, reverse=True)
    assert [round(width.total_seconds()) for width in widths[:2]] == [3944, 3944]


def test_a_move_is_judged_by_all_that_was_measured_with_no_worker_about(scene: Scene) -> None:
    with time_machine.travel(EIGHT, tick=False) as clock:
        job = in_curing(scene, "trim_dressing")
        clock.move_to(after(hours=3, minutes=1))
        measured(scene, *every_half_hour(EIGHT, after(hours=3), 10.0))
        problem = refused(move(scene.workshop_api(), job, "ready"), 409, "refused")
        assert problem["code"] == "clock_running"
        assert problem["until"] > said(after(hours=4))
        assert problem["earliest"] <= problem["until"]
        assert problem["touch_tests"] == []
        assert "Dress exterior trim: still cures, until" in problem["detail"]
        assert WaitClock.objects.get().basis == "not_measured"  # what was refused changed nothing
        clock.move_to(after(hours=6))
        measured(scene, *every_half_hour(after(hours=3.5), after(hours=6), 10.0))
        assert done(move(scene.workshop_api(), job, "ready"))["stage"] == "ready"
        assert WaitClock.objects.get().basis == "measured"


def test_a_move_takes_few_queries_however_much_was_measured(
    scene: Scene, django_assert_num_queries: DjangoAssertNumQueries
) -> None:
    workshop = scene.workshop_api()
    with time_machine.travel(EIGHT, tick=False) as clock:
        plain = moved(workshop, arrived(scene, dealer_ref="PX-2", registration="TU21 ABD"),
                      "correction")  # fmt: skip
        job = in_curing(scene, "trim_dressing", "tyre_dressing", "wax")
        clock.move_to(after(hours=8))
        measured(scene, *[(after(minutes=minute), 14.0) for minute in range(480)])
        done(workshop.get("/jobs"))  # the key's last use is written down once a minute
        # The key; the job and its clocks; the job, its history and the event; a savepoint's ends.
        with django_assert_num_queries(8):
            assert move_alone(workshop, plain).status_code == 200
        # And the readings, one update of all the clocks and one that says they are over.
        with django_assert_num_queries(11):
            assert move_alone(workshop, job).status_code == 200


def move_alone(api: Any, job: Any) -> Any:
    body = {"to": "correction" if job["stage"] == "curing" else "curing", "reason": "So it is."}
    return api.post(f"/jobs/{job['id']}/moves", {**body, "version": job["version"]})


def test_what_runs_is_said_alike_of_rows_and_in_queries(scene: Scene) -> None:
    with time_machine.travel(EIGHT, tick=False):
        job = in_curing(scene, "trim_dressing")
    clock = WaitClock.objects.get(job=job["id"])
    for touch in (False, True):
        for closed in (None, after(hours=1), after(hours=5)):
            for ends_at in (after(hours=2), after(hours=4), None):
                clock.touch_test, clock.closed_at, clock.ends_at = touch, closed, ends_at
                clock.halted = "" if ends_at else "too_cold"
                clock.save()
                for hour in (0.5, 1, 3, 6):
                    at = after(hours=hour)
                    asked = WaitClock.objects.filter(running_at(at)).exists()
                    expected = closed > at if closed else touch or ends_at is None or ends_at > at
                    assert is_running(clock, at) == asked == expected


def test_a_fixed_clock_from_before_there_were_readings_stays_as_it_is(scene: Scene) -> None:
    with time_machine.travel(EIGHT, tick=False) as clock:
        job = in_curing(scene, "trim_dressing")
        WaitClock.objects.update(
            reference_minutes=None, earliest_at=None, basis="fixed", progress_percent=0
        )
        clock.move_to(after(hours=2))
        measured(scene, *every_half_hour(EIGHT, after(hours=2), 2.0))
        work_out_clocks()
        found = only_clock(scene, job)
        assert (found["basis"], found["ends_at"]) == ("fixed", said(after(hours=3)))
        clock.move_to(after(hours=3))
        assert done(move(scene.workshop_api(), job, "ready"))["stage"] == "ready"
