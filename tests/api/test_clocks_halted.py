"""What stands still in the cold is never done by the calendar: cured, felt or let pass."""

from datetime import datetime, timedelta
from typing import Any

import pytest
import time_machine

from accounts.caller import Caller, Side
from jobs.work.models import ClimateReading, ClimateSetup, HistoryEntry, Job, WaitClock
from jobs.work.selectors.curing.clocks import jobs_to_settle, readings_of
from jobs.work.services.air.readings import Measured, readings_take
from jobs.work.tasks import settle_clocks, work_out_clocks
from tests.api.clock_steps import (
    EIGHT,
    after,
    felt,
    finished,
    in_curing,
    measured,
    move,
    said,
    task_of,
)
from tests.api.desk import signed_in
from tests.api.steps import arrived, detail, done, history, moved, refused, told
from tests.scene import Scene, person_api


def by_itself(scene: Scene) -> None:
    ClimateSetup.objects.create(workshop=scene.workshop, ready_by_itself=True)


def hourly(since: datetime, until: datetime, celsius: float) -> list[tuple[datetime, float]]:
    """Return readings an hour apart; of a gauge that does not repeat itself."""
    count = int((until - since) / timedelta(hours=1))
    return [(since + timedelta(hours=hour), celsius + hour % 3 / 10) for hour in range(count + 1)]


def stage(job: Any) -> str:
    return str(Job.objects.get(pk=job["id"]).stage)


def cold_car(scene: Scene, clock: Any, *, days: float) -> Any:
    """Return a car whose trim dressing stood in about 2 °C for so many days."""
    job = in_curing(scene, "trim_dressing")
    clock.move_to(after(days=days))
    measured(scene, *hourly(EIGHT, after(days=min(days, 13)), 2.0))
    work_out_clocks()
    return job


@pytest.mark.parametrize("days", [13.98, 14 + 1 / 1440, 60, 400])
def test_two_degrees_for_weeks_cure_nothing_and_make_no_car_ready(
    scene: Scene, days: float
) -> None:
    """At 13.98 days it was too cold; a minute past fourteen the car was ready by itself."""
    by_itself(scene)
    workshop = scene.workshop_api()
    with time_machine.travel(EIGHT, tick=False) as clock:
        job = cold_car(scene, clock, days=days)
        settle_clocks()
        assert stage(job) == "curing"
        assert "cured" not in [entry["kind"] for entry in history(workshop, job)]
        assert "job.ready" not in [name for name, _ in told(job)]
        problem = refused(move(workshop, job, "ready"), 409)
        assert (problem["code"], problem["until"]) == ("clock_running", None)
        assert "nobody can say until when" in problem["detail"]
        assert done(scene.dealer_api().get("/ready"))["cars"] == []
        waits = done(workshop.get(f"/jobs/{job['id']}/waits"))
        assert jobs_to_settle(after(days=days), limit=9) == []
    (found,) = waits["clocks"]
    assert (found["halted"], found["running"], found["progress_percent"]) == ("too_cold", True, 0)
    assert found["ends_at"] is None
    assert waits["done_at"]["latest"] is None
    assert (waits["outside"]["code"], waits["outside"]["at"]) == ("halted", None)
    assert WaitClock.objects.get().ends_at is None


def test_no_page_tells_a_date_or_says_that_it_is_done(scene: Scene) -> None:
    with time_machine.travel(EIGHT, tick=False) as clock:
        job = cold_car(scene, clock, days=20)
        tam, milo, ines = (
            signed_in(person) for person in (scene.valeter, scene.manager, scene.staff)
        )
        pages = [
            tam.get(f"/tablet/cars/{job['id']}"),
            tam.get("/tablet/"),
            milo.get("/desk/"),
            milo.get(f"/desk/cars/{job['id']}"),
            milo.get("/desk/climate"),
            milo.get("/desk/waiting"),
            ines.get("/dashboard/"),
            ines.get(f"/dashboard/cars/{job['id']}"),
        ]
        shown = [page.content.decode() for page in pages]
    assert [page.status_code for page in pages] == [200] * len(pages)
    horizons = [f"{after(days=day):%-d %b}" for day in (14, 27)]
    for text in shown:
        assert "All that cured or dried on it is done" not in text or "data-all-done hidden" in text
        assert not [day for day in horizons if day in text]
    assert "data-ends" not in shown[0]
    assert "data-waits disabled" in shown[0]


def test_it_goes_on_from_the_start_when_it_gets_warm_after_weeks(scene: Scene) -> None:
    """An hour at 15 °C on the first day counts on the fortieth: two hours are left."""
    by_itself(scene)
    warm = after(days=40)
    with time_machine.travel(EIGHT, tick=False) as clock:
        job = in_curing(scene, "trim_dressing")
        clock.move_to(after(hours=1))
        measured(scene, (EIGHT, 15.0), (after(minutes=30), 15.0), (after(hours=1), 15.0))
        cold_from = after(hours=1, minutes=1)
        for day in range(41):
            until = min(cold_from + timedelta(days=day + 1), warm)
            clock.move_to(until)
            measured(scene, *hourly(cold_from + timedelta(days=day), until, 2.0))
            work_out_clocks()
        found = WaitClock.objects.get()
        assert found.halted == "too_cold"
        assert found.summed_at is not None
        assert warm - timedelta(days=16) < found.summed_at < warm - timedelta(days=13)
        assert len(readings_of(scene.workshop.pk, [found])) < 17 * 24
        clock.move_to(warm + timedelta(hours=2, minutes=10))
        begins = warm + timedelta(minutes=1)
        measured(
            scene,
            (warm, 2.0),
            *[(begins + timedelta(minutes=30 * step), 15.0) for step in range(5)],
        )
        work_out_clocks()
        settle_clocks()
        assert stage(job) == "ready"
        found.refresh_from_db()
    assert found.ends_at is not None
    assert abs(found.ends_at - (warm + timedelta(hours=2))) < timedelta(minutes=3)


def test_a_reading_that_comes_twenty_days_late_moves_a_clock_that_still_runs(scene: Scene) -> None:
    """What was summed up before it is summed up again: half of the warm hour was cold after all."""
    warm = after(days=20)
    with time_machine.travel(EIGHT, tick=False) as clock:
        job = in_curing(scene, "trim_dressing")
        clock.move_to(after(hours=1))
        measured(scene, *[(after(minutes=15 * step), 15.0) for step in range(5)])
        clock.move_to(after(days=19))
        measured(scene, *hourly(after(hours=1, minutes=1), after(days=19), 2.0))
        work_out_clocks()
        clock.move_to(warm + timedelta(minutes=30))
        measured(scene, (warm, 2.0), (warm + timedelta(minutes=1), 15.0))
        work_out_clocks()
        before = WaitClock.objects.get()
        assert before.summed_at is not None
        assert before.summed_at > after(days=5)
        assert before.ends_at is not None
        assert abs(before.ends_at - (warm + timedelta(hours=2))) < timedelta(minutes=3)
        late = [Measured(after(minutes=minute), 1.0, sensor="bay 2") for minute in (29, 31, 60)]
        caller = Caller(scene.workshop.pk, Side.WORKSHOP, frozenset(), "The gauge")
        readings_take(caller=caller, measured=late)
        work_out_clocks()
        found = WaitClock.objects.get()
        clock.move_to(before.ends_at)
        refused(move(scene.workshop_api(), job, "ready"), 409)
    assert found.ends_at is not None
    assert timedelta(minutes=15) < found.ends_at - before.ends_at < timedelta(minutes=20)
    assert (found.summed_at, found.summed_least < before.summed_least) == (before.summed_at, True)


def test_a_manager_lets_it_pass_with_a_reason_and_a_hand_ends_what_is_too_damp(
    scene: Scene,
) -> None:
    workshop = scene.workshop_api()
    with time_machine.travel(EIGHT, tick=False) as clock:
        job = cold_car(scene, clock, days=15)
        manager = person_api(scene.manager)
        assert refused(move(manager, job, "ready", override=True), 409)["code"] == "reason_needed"
        done(move(manager, job, "ready", override=True, reason="It goes into a warm hall."))
        assert stage(job) == "ready"
        clock.move_to(EIGHT + timedelta(days=16))
        second_job = arrived(scene, dealer_ref="PX-2", registration="TU21 ABD",
                             operations=["wet_extraction"])  # fmt: skip
        second_job = moved(workshop, second_job, "cleaning")
        drying = finished(workshop, second_job, "wet_extraction")
        moved(workshop, second_job, "curing")
        clock.shift(timedelta(days=15))
        measured(scene, *hourly(EIGHT + timedelta(days=16), EIGHT + timedelta(days=31), 15.0),
                 humidity=100.0)  # fmt: skip
        work_out_clocks()
        assert refused(move(workshop, second_job, "ready"), 409)["until"] is None
        assert WaitClock.objects.get(pk=drying["id"]).halted == "too_damp"
        done(felt(workshop, second_job, drying, dry=False))
        assert refused(move(workshop, second_job, "ready"), 409)["until"] is None
        done(felt(workshop, second_job, drying, dry=True))
        assert done(move(workshop, second_job, "ready"))["stage"] == "ready"


def test_the_dealer_is_told_without_a_date_and_again_when_there_is_one(scene: Scene) -> None:
    with time_machine.travel(EIGHT, tick=False) as clock:
        job = cold_car(scene, clock, days=2)
        clock.shift(timedelta(minutes=30))
        measured(scene, (after(days=2, minutes=30), 15.0))
        work_out_clocks()
        changes = [data for name, data in told(job) if name == "job.wait_changed"]
    assert [(data["until"] is None, data["was"] is None) for data in changes] == [
        (True, False),
        (False, True),
    ]
    assert changes[0]["earliest"] == said(after(days=2))
    assert "too cold" in changes[0]["reason"]


# Cold that was measured


@pytest.mark.parametrize("minutes", [119, 120, 121, 240, 600, 1440])
def test_one_cold_reading_before_the_start_halts_it_however_long_before(
    scene: Scene, minutes: int
) -> None:
    """At 121 minutes it was done at the latest at 11:00."""
    with time_machine.travel(after(minutes=-minutes), tick=False) as clock:
        measured(scene, (after(minutes=-minutes), 3.0))
        clock.move_to(EIGHT)
        job = in_curing(scene, "trim_dressing")
        clock.move_to(after(hours=3, minutes=1))
        assert refused(move(scene.workshop_api(), job, "ready"), 409)["until"] is None


def test_six_degrees_in_the_evening_halt_what_may_not_cure_in_them_until_it_is_read_again(
    scene: Scene,
) -> None:
    """No reading in the night; the next one says what it is from then on, and not before."""
    workshop = scene.workshop_api()
    product = {"name": "Larchmoor seal", "operation": "trim_dressing", "reference_minutes": 180}
    seal = done(workshop.post("/products", {**product, "lowest_celsius": 8}))
    with time_machine.travel(EIGHT, tick=False) as clock:
        job = in_curing(scene, "trim_dressing")
        task = task_of(workshop, job, "trim_dressing")
        done(workshop.post(f"/jobs/{job['id']}/uses",
                           {"task_id": task["id"], "product_id": seal["id"]}))  # fmt: skip
        measured(scene, (EIGHT, 6.0))
        for hours in (4, 14, 24 * 9):
            clock.move_to(after(hours=hours))
            problem = refused(move(workshop, job, "ready"), 409)
            assert (problem["code"], problem["until"]) == ("clock_running", None)
        morning = after(hours=24 * 9)
        measured(scene, (morning, 15.0))
        clock.move_to(morning + timedelta(hours=2))
        measured(scene, (morning + timedelta(hours=2), 15.0))
        problem = refused(move(workshop, job, "ready"), 409)
        assert problem["until"] == said(morning + timedelta(hours=3))
        clock.move_to(morning + timedelta(hours=3))
        assert done(move(workshop, job, "ready"))["stage"] == "ready"


def test_cold_that_a_gauge_in_whole_degrees_repeats_is_not_dropped(scene: Scene) -> None:
    """31 readings of exactly 4 °C counted as stuck, and three hours later it was cured."""
    by_itself(scene)
    caller = Caller(scene.workshop.pk, Side.WORKSHOP, frozenset(), "The gauge")
    with time_machine.travel(EIGHT, tick=False) as clock:
        hours = [after(hours=hour) for hour in range(-30, 1)]
        readings_take(caller=caller, measured=[Measured(at, 4.0, sensor="bay") for at in hours])
        assert ClimateReading.objects.filter(mark="stuck").count() == 30
        job = in_curing(scene, "trim_dressing")
        clock.move_to(after(hours=3, minutes=1))
        work_out_clocks()
        settle_clocks()
        assert stage(job) == "curing"
        assert detail(scene.workshop_api(), job)["clocks"][0]["ends_at"] is None


def test_no_history_entry_names_the_day_the_sum_stopped_looking(scene: Scene) -> None:
    with time_machine.travel(EIGHT, tick=False) as clock:
        job = cold_car(scene, clock, days=3)
        clock.move_to(after(days=17))
        settle_clocks()
        texts = [str(entry.data) for entry in HistoryEntry.objects.filter(job_id=job["id"])]
        texts += [str(data) for _, data in told(job)]
    assert not any(said(after(days=14))[:10] in text for text in texts)
