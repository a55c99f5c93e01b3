"""When the last clock ends the history says so, and a car may become ready by itself, once."""

from typing import Any

import pytest
import time_machine

from core.models import Sweep
from core.queue_settings import beat_schedule
from jobs.work.models import ClimateSetup, HistoryEntry, Job, WaitClock
from jobs.work.selectors.curing.clocks import jobs_to_settle
from jobs.work.services.curing.settling import clocks_settle
from jobs.work.tasks import settle_clocks
from tests.api.clock_steps import (
    EIGHT,
    after,
    felt,
    finished,
    in_curing,
    move,
    said,
    task_of,
)
from tests.api.steps import arrived, at_once, detail, done, history, moved, told
from tests.scene import Scene, person_api


def by_itself(scene: Scene) -> None:
    """Switch on that the workshop's cars become ready by themselves."""
    ClimateSetup.objects.create(workshop=scene.workshop, ready_by_itself=True)


def kinds(scene: Scene, job: Any) -> list[str]:
    return [entry["kind"] for entry in history(scene.workshop_api(), job)]


def stage(job: Any) -> str:
    return str(Job.objects.get(pk=job["id"]).stage)


def test_the_end_of_the_last_clock_is_written_down_once_and_told_to_nobody(scene: Scene) -> None:
    with time_machine.travel(EIGHT, tick=False) as clock:
        job = in_curing(scene, "trim_dressing", "tyre_dressing")
        events = len(told(job))
        clock.move_to(after(minutes=31))  # the tyres are done, the trim is not
        settle_clocks()
        assert "cured" not in kinds(scene, job)
        clock.move_to(after(hours=3, minutes=1))
        for _ in range(3):
            settle_clocks()
        entry = HistoryEntry.objects.get(kind="cured")
    assert (entry.actor, entry.occurred_at) == ("The service", after(hours=3))
    assert entry.data == {"operations": ["tyre_dressing", "trim_dressing"]}
    assert len(told(job)) == events
    assert (stage(job), jobs_to_settle(after(days=1), limit=9)) == ("curing", [])
    assert not WaitClock.objects.filter(settled_at=None).exists()


def test_the_sweep_says_that_it_ran_and_runs_every_quarter_minute(scene: Scene) -> None:
    assert scene.workshop
    settle_clocks()
    assert Sweep.objects.filter(name="settle_clocks").exists()
    entry = beat_schedule["watch-clocks"]
    assert entry == {
        "task": "jobs.tasks.settle_clocks", "schedule": 15.0, "options": {"expires": 15}
    }  # fmt: skip


def test_by_choice_it_becomes_ready_by_itself_once_and_the_dealer_is_told(scene: Scene) -> None:
    by_itself(scene)
    with time_machine.travel(EIGHT, tick=False) as clock:
        job = in_curing(scene, "trim_dressing")
        clock.move_to(after(hours=3))
        for _ in range(3):
            settle_clocks()
        assert kinds(scene, job)[-2:] == ["cured", "moved"]
        (ready,) = [data for name, data in told(job) if name == "job.ready"]
        (car,) = done(scene.dealer_api().get("/ready"))["cars"]
    entry = HistoryEntry.objects.filter(kind="moved").latest("number")
    assert (entry.actor, entry.actor_key, entry.to_stage) == ("The service", "", "ready")
    assert entry.reason == "All that cured or dried on it is done."
    assert (ready["override"], ready["reason"]) == (False, entry.reason)
    assert (car["id"], car["ready_at"]) == (job["id"], said(after(hours=3)))


def test_found_dry_it_becomes_ready_at_once(scene: Scene) -> None:
    by_itself(scene)
    workshop = scene.workshop_api()
    with time_machine.travel(EIGHT, tick=False) as clock:
        job = moved(workshop, arrived(scene, operations=["wet_extraction"]), "cleaning")
        drying = finished(workshop, job, "wet_extraction")
        moved(workshop, job, "curing")
        clock.move_to(after(hours=5))
        settle_clocks()
        assert stage(job) == "curing"  # nobody has felt it
        done(felt(workshop, job, drying, dry=True))
        assert stage(job) == "ready"
    assert kinds(scene, job)[-3:] == ["touch_tested", "cured", "moved"]


@pytest.mark.parametrize("keeps", ["hold", "task", "stage", "choice", "clock"])
def test_it_stays_where_it_is_while_anything_is_open(scene: Scene, keeps: str) -> None:
    if keeps != "choice":
        by_itself(scene)
    workshop = scene.workshop_api()
    with time_machine.travel(EIGHT, tick=False) as clock:
        job = in_curing(scene, "trim_dressing")
        if keeps == "hold":
            done(workshop.post(f"/jobs/{job['id']}/holds", {"cause": "parts"}))
        elif keeps == "task":
            done(workshop.post(f"/jobs/{job['id']}/tasks", {"operation": "glass"}))
        elif keeps == "stage":
            done(move(workshop, job, "correction", reason="One more look."))
        elif keeps == "clock":
            WaitClock.objects.update(ends_at=after(hours=9), reference_minutes=None)
        before = stage(job)
        clock.move_to(after(hours=4))
        settle_clocks()
        assert stage(job) == before != "ready"
        assert ("cured" in kinds(scene, job)) is (keeps != "clock")


def test_coats_that_flash_off_are_no_end(scene: Scene) -> None:
    workshop = scene.workshop_api()
    with time_machine.travel(EIGHT, tick=False) as clock:
        job = moved(workshop, arrived(scene, operations=["sills_refinish"]), "correction")
        path = f"/jobs/{job['id']}/tasks/{task_of(workshop, job, 'sills_refinish')['id']}"
        done(workshop.post(f"{path}/start"))
        done(workshop.post(f"{path}/coats", {"kind": "primer"}))
        clock.move_to(after(hours=1))
        settle_clocks()
        assert WaitClock.objects.get().settled_at is not None
        assert "cured" not in kinds(scene, job)


@pytest.mark.parametrize("way", ["ready", "collected", "cancelled"])
def test_what_is_left_on_a_car_that_waits_no_more_is_settled_in_silence(
    scene: Scene, way: str
) -> None:
    by_itself(scene)
    with time_machine.travel(EIGHT, tick=False) as clock:
        job = in_curing(scene, "trim_dressing")
        if way == "ready":
            manager = person_api(scene.manager)
            done(move(manager, job, "ready", override=True, reason="It goes into a warm hall."))
        elif way == "collected":
            done(
                scene.workshop_api().post(
                    f"/jobs/{job['id']}/collection", {"reason": "Taken.", "confirm": True}
                )
            )
        else:
            done(scene.dealer_api().post(f"/work-orders/{job['id']}/cancel"))
        before = kinds(scene, job)
        clock.move_to(after(hours=4))
        settle_clocks()
    assert WaitClock.objects.get().settled_at is not None
    assert kinds(scene, job) == before


def test_a_sweep_that_comes_too_late_for_what_somebody_moved_skips_it(scene: Scene) -> None:
    by_itself(scene)
    with time_machine.travel(EIGHT, tick=False) as clock:
        job = in_curing(scene, "trim_dressing")
        clock.move_to(after(hours=4))
        (job_id,) = jobs_to_settle(after(hours=4), limit=9)
        done(move(scene.workshop_api(), job, "ready"))
        done(move(scene.workshop_api(), job, "correction", reason="A run in the gloss."))
        assert clocks_settle(job_id=job_id) is False  # the move wrote it down
    assert stage(job) == "correction"
    said = [kind for kind in kinds(scene, job) if kind in {"cured", "moved"}]
    assert said[-3:] == ["cured", "moved", "moved"]
    assert [name for name, _ in told(job)].count("job.ready") == 1


def test_a_clock_that_runs_again_is_not_settled(scene: Scene) -> None:
    with time_machine.travel(EIGHT, tick=False) as clock:
        job = in_curing(scene, "trim_dressing")
        clock.move_to(after(hours=2))
        assert clocks_settle(job_id=job["id"]) is False
    assert WaitClock.objects.get().settled_at is None


@pytest.mark.django_db(transaction=True)
def test_sweeps_and_a_person_at_once_make_it_ready_once(scene: Scene) -> None:
    by_itself(scene)
    job = in_curing(scene, "trim_dressing")
    WaitClock.objects.update(
        reference_minutes=None, ends_at=detail(scene.workshop_api(), job)["received_at"]
    )
    workshop = scene.workshop_api()
    at_once(settle_clocks, settle_clocks, lambda: move(workshop, job, "ready"), settle_clocks)
    assert stage(job) == "ready"
    assert [name for name, _ in told(job)].count("job.ready") == 1
    assert kinds(scene, job).count("cured") <= 1


def test_a_clock_written_off_with_a_car_that_was_not_gone_is_watched_again(scene: Scene) -> None:
    """A collection that was a mistake is undone: what still cures has its end to come."""
    with time_machine.travel(EIGHT, tick=False) as clock:
        manager = person_api(scene.manager)
        job = in_curing(scene, "trim_dressing")
        done(
            manager.post(
                f"/jobs/{job['id']}/collection", {"reason": "The driver waits.", "confirm": True}
            )
        )
        settle_clocks()
        assert WaitClock.objects.get().settled_at == EIGHT  # nobody waits for it any more
        version = Job.objects.get(pk=job["id"]).version
        done(manager.post(f"/jobs/{job['id']}/corrections", {"version": version}))
        assert WaitClock.objects.get().settled_at is None
        clock.move_to(after(hours=3, minutes=1))
        settle_clocks()
        assert kinds(scene, job).count("cured") == 1
