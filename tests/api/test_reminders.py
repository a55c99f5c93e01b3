"""What must not be forgotten before a car leaves: shown on the job, told when it is ready."""

from datetime import timedelta
from typing import Any

import pytest
from pytest_django import DjangoAssertNumQueries

from core.clock import now
from jobs.work.models import HistoryEntry, Job, ScopeChange, SuppliedTick, WorkRequest
from jobs.work.selectors.jobs.reminders import reminders_of
from tests.api.found import PAPERS, PHONE, STOP, acknowledge, found
from tests.api.steps import arrived, detail, done, moved, posted, ready, told
from tests.scene import Scene

LEAVING = {"occasion": "leaving", "mileage": 41253}


def reminded(job: Any) -> dict[str, str]:
    """Return the reminders of a job by their codes."""
    return {
        reminder["code"]: reminder["text"]
        for reminder in reminders_of(Job.objects.get(pk=job["id"]))
    }


def requested(job: Any, **more: Any) -> WorkRequest:
    """Store a request for extra work, open unless said otherwise."""
    return WorkRequest.objects.create(
        job_id=job["id"], what="Refit trim", why="Loose", if_not_done="It falls off", minutes=20,
        answer_by=now() + timedelta(hours=4), opened_at=now(), recorded_at=now(), actor="Tam",
        **more,
    )  # fmt: skip


def changed(job: Any, *, seen: bool = False) -> None:
    """Store a change of the dealer's."""
    entry = HistoryEntry.objects.filter(job_id=job["id"]).order_by("-number")[0]
    ScopeChange.objects.create(job_id=job["id"], entry=entry, seen_at=now() if seen else None)


def ticked(job: Any, item: str, state: str) -> None:
    SuppliedTick.objects.create(
        job_id=job["id"], item=item, state=state, occurred_at=now(), recorded_at=now(), actor="Tam"
    )


def test_a_car_that_has_not_come_reminds_of_nothing(
    scene: Scene, django_assert_num_queries: DjangoAssertNumQueries
) -> None:
    job = posted(scene.dealer_api(), supplied=["Wheel trim"])
    requested(job)
    with django_assert_num_queries(1):
        assert reminded(job) == {}


def test_what_was_found_is_counted_and_never_named(scene: Scene) -> None:
    workshop, job = scene.workshop_api(), arrived(scene)
    for body in (PAPERS, PAPERS, PHONE):
        found(workshop, job, body)
    stop = found(workshop, job, STOP)
    reminders = reminded(job)
    assert list(reminders) == [
        "do_not_drive",
        "findings_not_acknowledged",
        "belongings_here",
        "data_not_wiped",
    ]
    assert reminders["findings_not_acknowledged"].endswith(": 4.")
    assert reminders["belongings_here"].endswith(": 2.")
    assert reminders["data_not_wiped"].endswith(": 1.")
    assert "must not be driven" in reminders["do_not_drive"]
    assert "Orrick" not in str(reminders)
    done(acknowledge(scene.dealer_api(), stop))
    assert reminded(job)["findings_not_acknowledged"].endswith(": 3.")
    assert "do_not_drive" in reminded(job)


def test_open_requests_and_changes_that_nobody_saw_are_counted(scene: Scene) -> None:
    job = arrived(scene)
    requested(job)
    requested(job)
    requested(job, state="declined", closed_at=now())
    changed(job)
    assert reminded(job) == {
        "requests_open": "Requests that the dealer has not answered: 2.",
        "changes_not_seen": "Changes of the dealer's that nobody at the workshop has seen: 1.",
    }
    ScopeChange.objects.update(seen_at=now())
    WorkRequest.objects.filter(state="open").update(state="lapsed", closed_at=now())
    assert reminded(job) == {}


@pytest.mark.parametrize("stage", ["intake", "ready", "cancelled"])
def test_when_the_car_is_about_to_leave_the_rest_is_asked_for(scene: Scene, stage: str) -> None:
    workshop = scene.workshop_api()
    job = arrived(scene, supplied=["Wheel trim", "Paint stick"])
    if stage == "ready":
        moved(workshop, job, "cleaning", "ready")
    if stage == "cancelled":
        done(scene.dealer_api().post(f"/work-orders/{job['id']}/cancel"))
    if stage == "intake":
        assert reminded(job) == {}
        return
    assert list(reminded(job)) == ["leaving_not_recorded", "supplied_not_ticked"]
    assert reminded(job)["supplied_not_ticked"].endswith(": 2.")
    ticked(job, "Wheel trim", "fitted")
    ticked(job, "Paint stick", "received")
    assert reminded(job)["supplied_not_ticked"].endswith(": 1.")
    SuppliedTick.objects.filter(item="Paint stick").update(state="not_used")
    done(workshop.post(f"/jobs/{job['id']}/walk-rounds", {"occasion": "arrival"}))
    assert list(reminded(job)) == ["leaving_not_recorded"]
    done(workshop.post(f"/jobs/{job['id']}/walk-rounds", LEAVING))
    assert reminded(job) == {}


def test_they_stand_on_the_job_and_in_the_completion_notice(scene: Scene) -> None:
    workshop, job = scene.workshop_api(), arrived(scene)
    found(workshop, job, PAPERS)
    moved(workshop, job, "cleaning", "ready")
    name, data = told(job)[-1]
    assert name == "job.ready"
    assert [reminder["code"] for reminder in data["reminders"]] == [
        "findings_not_acknowledged",
        "belongings_here",
        "leaving_not_recorded",
    ]
    for api in (workshop, scene.dealer_api()):
        assert detail(api, job)["reminders"] == data["reminders"]


def test_after_collection_only_what_was_found_still_counts(scene: Scene) -> None:
    workshop, job = scene.workshop_api(), ready(scene, supplied=["Wheel trim"])
    found(workshop, job, PAPERS)
    requested(job)
    done(workshop.post(f"/jobs/{job['id']}/collection", {"reason": "No room.", "confirm": True}))
    assert list(reminded(job)) == ["findings_not_acknowledged", "belongings_here"]


def test_looking_costs_the_same_however_much_is_open(
    scene: Scene, django_assert_num_queries: DjangoAssertNumQueries
) -> None:
    workshop, job = scene.workshop_api(), ready(scene, supplied=["Wheel trim", "Paint stick"])
    detail(workshop, job)  # the first use of a key in a minute is noted
    for _ in range(3):
        for body in (PAPERS, PHONE):
            found(workshop, job, body)
        requested(job)
        with django_assert_num_queries(6):  # the job; findings, requests, changes, leaving, ticks
            reminded(job)
        # the key; the job, tasks, holds, clocks and changes; the other four above
        with django_assert_num_queries(10):
            detail(workshop, job)
