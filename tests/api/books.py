"""What must hold after every step of a random day, whatever the step was."""

from collections.abc import Iterator
from typing import Any, ClassVar

from hypothesis.stateful import RuleBasedStateMachine, invariant

from accounts.models import Organisation
from core.clock import now
from jobs.work.calc.stages.machine import Kind, Stage, replay
from jobs.work.models import FlowCar, Job, Task, WaitClock
from jobs.work.selectors.curing.clocks import is_running
from notifications.models import Event
from tests.api.steps import told_once
from tests.scene import Api, Scene

TOLD = {
    Kind.RECEIVED: "work_order.received",
    Kind.ACCEPTED: "work_order.accepted",
    Kind.DECLINED: "work_order.declined",
    Kind.CHANGED: "work_order.changed",
    Kind.CANCELLED: "work_order.cancelled",
    Kind.ARRIVED: "job.arrived",
    Kind.MOVED: "job.stage_changed",
    Kind.HELD: "job.held",
    Kind.RELEASED: "job.released",
    Kind.COLLECTED: "job.collected",
    Kind.CORRECTED: "job.corrected",
    Kind.FINDING: "finding.reported",
    Kind.FINDING_SEEN: "finding.acknowledged",
    Kind.WAIT_MOVED: "job.wait_changed",
}


class Books(RuleBasedStateMachine):
    """The books of a dealer and a workshop; a day's rules come from the class made of it.

    `happened`: the kinds of history entry that any day has had.
    """

    scene: Scene
    dealer: Api
    looked_at: set[Any]
    happened: ClassVar[set[str]] = set()

    @invariant()
    def clocks_agree_with_the_job(self) -> None:
        for clock in WaitClock.objects.select_related("job"):
            earliest, ends = clock.earliest_at, clock.ends_at
            assert (ends is None) is bool(clock.halted)
            assert clock.started_at <= (earliest or clock.started_at)
            assert ends is None or (earliest is not None and earliest <= ends)
            if clock.settled_at is not None and clock.job.is_open:
                assert not is_running(clock, now())
            assert clock.closed_at is None or clock.touch_test

    @invariant()
    def no_car_with_a_halted_clock_becomes_ready_but_by_override(self) -> None:
        """Look once after each move: cold that is measured later undoes none."""
        for job in Job.objects.filter(stage="ready"):
            entry = job.history.filter(kind=Kind.MOVED.value).latest("number")
            if entry.pk not in self.looked_at:
                self.looked_at.add(entry.pk)
                started = job.clocks.filter(started_at__lte=entry.occurred_at)
                halted = started.filter(ends_at=None, closed_at=None)
                assert entry.data["override"] or not halted.exists()

    @invariant()
    def every_history_leads_to_its_job(self) -> None:
        for job in Job.objects.all():
            entries = list(job.history.order_by("number"))
            numbers = [entry.number for entry in entries]
            assert numbers == list(range(1, job.history_count + 1))
            steps = [entry.step for entry in entries]
            assert replay(steps) == job.state
            assert job.is_open == job.state.open
            for count, entry in enumerate(entries, start=1):
                assert entry.version == replay(steps[:count]).version

    @invariant()
    def the_events_tell_the_history(self) -> None:
        for job in Job.objects.all():
            events = Event.objects.filter(subject_id=job.pk).order_by("number")
            assert [event.type for event in events] == list(expected_events(job))
            if last := events.last():
                _, data = told_once(last)
                assert data["job"]["version"] == job.version

    @invariant()
    def holds_and_tasks_agree_with_the_job(self) -> None:
        for job in Job.objects.all():
            assert job.open_holds == job.holds.filter(ended_at__isnull=True).count()
            for finding in job.findings.exclude(hold=None):
                assert finding.hold is not None
                assert (finding.hold.ended_at is None) == (finding.over_how == "")
            for task in job.tasks.prefetch_related("spells"):
                running = [spell for spell in task.spells.all() if spell.ended_at is None]
                ended = [spell for spell in task.spells.all() if spell.ended_at is not None]
                assert not running or task.state == Task.State.STARTED
                assert (task.finished_at is not None) == (task.state == Task.State.FINISHED)
                assert bool(running or ended) == (
                    task.state in {Task.State.STARTED, Task.State.FINISHED}
                )
                assert (task.actual_minutes is not None) == bool(ended)

    @invariant()
    def what_must_not_be_driven_agrees_with_the_history(self) -> None:
        for job in Job.objects.all():
            standing = set()
            for entry in job.history.order_by("number"):
                data = entry.data
                if entry.kind == Kind.FINDING and data["weight"] == "do_not_drive":
                    standing.add(data["finding_id"])
                if entry.kind in {Kind.FINDING_CLEARED, Kind.WITHDRAWN}:
                    standing -= {data["finding_id"]} if data["how"] != "transported" else set()
            assert job.do_not_drive is bool(standing)
            cars = self.dealer.get("/ready").json()["cars"]
            shown = [car["do_not_drive"] for car in cars if car["id"] == str(job.pk)]
            assert shown in ([], [job.do_not_drive])

    @invariant()
    def the_ready_list_shows_the_ready_cars_once_each(self) -> None:
        cars = [car["id"] for car in self.dealer.get("/ready").json()["cars"]]
        ready = Job.objects.filter(
            stage="ready", collected_at__isnull=True, cancelled_at__isnull=True
        ).order_by("-ready_number")
        assert cars == [str(job.pk) for job in ready]
        numbers = [job.ready_number for job in ready]
        assert len(numbers) == len(set(numbers))
        highest = Organisation.objects.get(pk=self.scene.dealer.pk).ready_version
        assert all(number is not None and number <= highest for number in numbers)

    @invariant()
    def the_time_of_ready_cars_is_kept_and_of_no_others(self) -> None:
        for job in Job.objects.all():
            kept_of = FlowCar.objects.filter(job=job).first()
            assert (kept_of is not None) == (job.ready_at is not None)
            assert kept_of is None or kept_of.ready_at == job.ready_at
            assert kept_of is None or kept_of.rework_count == job.rework_count

    @invariant()
    def no_vehicle_is_open_twice(self) -> None:
        marks = list(
            Job.objects.filter(is_open=True)
            .exclude(registration_key="")
            .values_list("registration_key", flat=True)
        )
        assert len(marks) == len(set(marks))


def expected_events(job: Job) -> Iterator[str]:
    """Return the events that the job's history should have told."""
    for entry in job.history.order_by("number"):
        kind = Kind(entry.kind)
        # A "do not drive" has a line of its own, so that it waits behind nothing of the job's.
        if kind in TOLD and entry.data.get("weight") != "do_not_drive":
            yield TOLD[kind]
        if kind is Kind.MOVED and entry.to_stage == Stage.READY:
            yield "job.ready"
