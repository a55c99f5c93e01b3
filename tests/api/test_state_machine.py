"""Random days at the workshop over the API; after every step the books must agree.

Orders, decisions, arrivals, moves right and wrong, holds, tasks, findings, changes, cancellations,
collections, stale versions and repeated requests come in any order. The stored history, replayed
by the stage machine, must lead to the stored job, and the events must tell that history.
"""

from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
import time_machine
from django.db import transaction
from hypothesis import HealthCheck, settings
from hypothesis import strategies as st
from hypothesis.stateful import (
    initialize,
    precondition,
    rule,
    run_state_machine_as_test,
)

from accounts.api.throttling import COUNTER
from accounts.models import Organisation
from core.clock import now
from jobs.work.calc.catalogue.operations import OPERATIONS
from jobs.work.calc.stages.machine import (
    Kind,
    Stage,
    State,
    moves_from,
    refuse_move,
    refuse_noting,
    refuse_work,
    replay,
)
from jobs.work.models import Finding, HistoryEntry, Hold, Job, Spell, Task, WaitClock
from jobs.work.selectors.curing.clocks import jobs_to_settle, running_at
from jobs.work.selectors.stages import refusal_to_undo, step_standing
from jobs.work.tasks import settle_clocks, work_out_clocks
from notifications.models import Event
from tests.api.books import Books
from tests.scene import Api, make_scene, order, person_api

NINE = datetime(2027, 3, 1, 9, 0, tzinfo=UTC)
MARKS = ["TU21 ABC", "JX19 KLM", "UX70 DEF"]
CODES = ["wash_body", "vacuum", "wet_extraction", "wax", "mini_valet"]
# What some of forty days has, however they fall; the ends of a car's life come by chance.
OF_A_WORKING_LIFE = {
    *(Kind.RECEIVED, Kind.ACCEPTED, Kind.CHANGED, Kind.ARRIVED),
    *(Kind.MOVED, Kind.HELD, Kind.FINDING, Kind.CORRECTED),
}
NTH = st.integers(0, 50)
REASON = st.sampled_from(["", "So it is."])


@dataclass(frozen=True, slots=True)
class Sent:
    """A request that went well, to send again."""

    api: Api
    path: str
    body: dict[str, Any]
    key: str
    status: int
    content: bytes


def kept() -> list[tuple[Any, ...]]:
    """Return what must not change when a request is refused or repeated."""
    jobs = Job.objects.order_by("pk").values_list("pk", "version", "history_count", "updated_at")
    counts = [model.objects.count() for model in (Task, Spell, Hold, Event)]
    versions = Organisation.objects.order_by("pk").values_list("ready_version")
    return [*jobs, *versions, tuple(counts)]


class Workshop(Books):
    """One dealer and one workshop, and whatever they do to up to three cars at a time."""

    def __init__(self) -> None:
        super().__init__()
        self.undo = transaction.atomic()
        self.undo.__enter__()
        self.clock = time_machine.travel(NINE, tick=False)
        self.time = self.clock.start()
        COUNTER.clear()
        self.scene = make_scene()
        self.dealer, self.system = self.scene.dealer_api(), self.scene.workshop_api()
        self.sign_in()
        self.looked_at: set[Any] = set()
        self.sent: list[Sent] = []
        self.requests = 0

    def sign_in(self) -> None:
        """Sign the people in, whose sessions end."""
        self.tam = person_api(self.scene.valeter)
        self.milo = person_api(self.scene.manager)

    def teardown(self) -> None:
        """Keep what it had in it, and undo the day."""
        self.happened.update(HistoryEntry.objects.values_list("kind", flat=True))
        self.clock.stop()
        transaction.set_rollback(True)
        self.undo.__exit__(None, None, None)

    def post(self, api: Api, path: str, body: dict[str, Any] | None = None) -> Any:
        """Send a request under a key of its own; refused, it must have changed nothing."""
        self.requests += 1
        key, body = f"request-{self.requests}", body or {}
        before = kept()
        answer = api.post(path, body, headers={"Idempotency-Key": key})
        assert answer.status_code < 500, answer.content
        if answer.status_code >= 400:
            assert kept() == before
        else:
            self.sent.append(Sent(api, path, body, key, answer.status_code, answer.content))
        return answer

    def job(self, nth: int) -> Job:
        """Return one of the jobs there are, the newest first."""
        jobs = list(Job.objects.order_by("-pk"))
        return jobs[nth % len(jobs)]

    def task(self, job: Job, nth: int) -> Task | None:
        tasks = list(job.tasks.order_by("pk"))
        return tasks[nth % len(tasks)] if tasks else None

    @initialize(by_itself=st.booleans(), wet=st.booleans())
    def begin(self, by_itself: bool, wet: bool) -> None:  # noqa: FBT001  hypothesis calls it so
        """Bring in a car, at a workshop that is asked first or not; its seats may be wet."""
        account = self.scene.account
        account.accepts_by_itself = by_itself
        account.save()
        self.order(0, ["wash_body", "wet_extraction"])
        for _ in range(3):
            self.go_on(0)
        if wet:
            job = self.job(0)
            task = job.tasks.get(operation="wet_extraction")
            for step in ("start", "finish"):
                self.post(self.tam, f"/jobs/{job.pk}/tasks/{task.pk}/{step}")

    @rule(nth=NTH, codes=st.lists(st.sampled_from(CODES), max_size=3))
    def order(self, nth: int, codes: list[str]) -> None:
        mark = MARKS[nth % len(MARKS)]
        there = Job.objects.filter(registration=mark, is_open=True).first()
        body = order(dealer_ref=f"PX-{nth}-{self.requests}", registration=mark, operations=codes)
        answer = self.post(self.dealer, "/work-orders", body)
        assert answer.status_code == (409 if there else 201)
        if there:
            assert answer.json()["existing_job_id"] == str(there.pk)

    @precondition(lambda _: Job.objects.filter(decision="awaited").exists())
    @rule(nth=NTH, accept=st.booleans())
    def decide(self, nth: int, accept: bool) -> None:  # noqa: FBT001
        awaited = list(Job.objects.filter(decision="awaited").order_by("pk"))
        job = self.job(nth) if nth % 4 == 1 else awaited[nth % len(awaited)]
        path = f"/work-orders/{job.pk}/{'accept' if accept else 'decline'}"
        self.post(self.milo, path, {} if accept else {"reason": "No room."})

    @rule(nth=NTH)
    def arrive(self, nth: int) -> None:
        self.post(self.tam, f"/jobs/{self.job(nth).pk}/arrival")

    @rule(
        nth=NTH,
        to=st.sampled_from(Stage),
        off=st.sampled_from([0, 0, 0, 0, -1, 1]),
        how=st.fixed_dictionaries(
            {"reason": REASON, "override": st.booleans(), "confirm": st.booleans()}
        ),
        late=st.sampled_from([0, 0, 5, 300]),
    )
    def move(self, nth: int, to: Stage, off: int, how: dict[str, Any], late: int) -> None:
        """Move a car; the answer must be what the stage machine says of the stored state."""
        job = self.job(nth)
        made = now() - timedelta(minutes=late)
        refusal = refuse_move(
            job.state,
            to,
            clocks_running=job.clocks.filter(running_at(made)).exists(),
            reason=how["reason"],
            override=how["override"],
        )
        version = job.version + off
        body = {"to": to.value, "version": version, "occurred_at": made.isoformat(), **how}
        left = job.tasks.filter(state__in=("wanted", "started")).count()
        answer = self.post(self.milo, f"/jobs/{job.pk}/moves", body)
        if off:
            assert answer.json()["type"] == "urn:shutline:problem:stale-version"
        elif refusal:
            assert answer.json().get("code") == refusal.code
        elif to is Stage.READY and left and not how["confirm"]:
            assert answer.json()["type"] == "urn:shutline:problem:confirmation-needed"
            assert answer.json()["tasks_open"] == left
        else:
            assert answer.status_code == 200
            assert answer.json()["stage"] == to

    @rule(nth=NTH)
    def go_on(self, nth: int) -> None:
        """Take a car one step the way it should go, so that days get somewhere."""
        job = self.job(nth)
        hold = job.holds.filter(ended_at__isnull=True).first()
        if job.decision == "awaited" and job.is_open:
            answer = self.post(self.milo, f"/work-orders/{job.pk}/accept")
        elif job.arrived_at is None and job.is_open:
            answer = self.post(self.tam, f"/jobs/{job.pk}/arrival")
        elif hold is not None and (finding := Finding.objects.filter(hold=hold).first()):
            body = {"how": "repaired", "by": "Corm Mobile Mechanics"}
            answer = self.post(self.dealer, f"/findings/{finding.pk}/clear", body)
        elif hold is not None:
            answer = self.post(self.tam, f"/jobs/{job.pk}/holds/{hold.pk}/release")
        else:
            self.follow(job, rework=False, reason="")
            return
        assert answer.status_code == 200

    @rule(nth=NTH)
    def go_back(self, nth: int) -> None:
        """Take a car back, with the reason."""
        self.follow(self.job(nth), rework=True, reason="The seat wicked up.")

    @precondition(lambda _: Job.objects.filter(clocks__isnull=False, open_holds=0).exists())
    @rule()
    def override(self) -> None:
        """Move a car that still dries or cures, by a manager who answers for it."""
        job = Job.objects.filter(clocks__isnull=False, open_holds=0)[0]
        if "ready" in [move.to for move in moves_from(job.state)]:
            body = {"to": "ready", "version": job.version, "override": True, "reason": "Dry."}
            body["confirm"] = True
            assert self.post(self.milo, f"/jobs/{job.pk}/moves", body).status_code == 200
            assert job.history.order_by("-number")[0].data["override"] is True or (
                not job.clocks.filter(running_at(now())).exists()
            )

    def follow(self, job: Job, *, rework: bool, reason: str) -> None:
        """Make the last of the moves that the job itself says are open."""
        moves = self.system.get(f"/jobs/{job.pk}").json()["allowed_moves"]
        fitting = [move["to"] for move in moves if move["rework"] is rework]
        if fitting:
            body = {"to": fitting[-1], "version": job.version, "reason": reason, "confirm": True}
            answer = self.post(self.tam, f"/jobs/{job.pk}/moves", body)
            assert answer.status_code == 200 or answer.json()["code"] == "clock_running"

    @rule(nth=NTH, cause=st.sampled_from(Hold.Cause.values), reason=REASON)
    def hold(self, nth: int, cause: str, reason: str) -> None:
        path = f"/jobs/{self.job(nth).pk}/holds"
        self.post(self.tam, path, {"cause": cause, "reason": reason})

    @precondition(lambda _: Hold.objects.exists())
    @rule(nth=NTH)
    def release(self, nth: int) -> None:
        holds = list(Hold.objects.order_by("ended_at", "-pk"))
        hold = holds[nth % len(holds)]
        ended = hold.ended_at is not None
        waited_for = Finding.objects.filter(hold=hold, over_how="").exists()
        answer = self.post(self.tam, f"/jobs/{hold.job_id}/holds/{hold.pk}/release")
        assert answer.status_code == (409 if ended or waited_for else 200)

    @rule(nth=NTH, weight=st.sampled_from(["before_sale", "do_not_drive", "do_not_drive"]))
    def notice(self, nth: int, weight: str) -> None:
        """Report a finding; one that keeps the car off the road holds the job, if it is open."""
        job = self.job(nth)
        body = {"kind": "mechanical", "weight": weight, "area": "brakes", "noticed": "It grinds."}
        answer = self.post(self.tam, f"/jobs/{job.pk}/findings", body)
        assert answer.status_code == (409 if refuse_noting(job.state) else 201)
        if answer.status_code == 201:
            held = weight == "do_not_drive" and refuse_work(job.state) is None
            assert answer.json()["holds_the_job"] is held

    @precondition(lambda _: Finding.objects.exists())
    @rule(nth=NTH, by_phone=st.booleans())
    def acknowledge(self, nth: int, by_phone: bool) -> None:  # noqa: FBT001
        """Acknowledge one of the findings, the open ones first; the hold stays."""
        findings = list(Finding.objects.order_by("acknowledged_at", "-pk"))
        finding, before = findings[nth % len(findings)], kept()
        api, body = (self.milo, {"told": "Ines"}) if by_phone else (self.dealer, {})
        holds = finding.job.open_holds
        assert self.post(api, f"/findings/{finding.pk}/acknowledge", body).status_code == 200
        assert (kept() == before) is (finding.acknowledged_at is not None)
        finding.job.refresh_from_db()
        assert finding.job.open_holds == holds

    @precondition(lambda _: Finding.objects.exists())
    @rule(
        nth=NTH,
        how=st.sampled_from(["repaired", "transported", "withdrawn"]),
        who=st.sampled_from(["dealer", "tam", "milo", "system"]),
    )
    def be_over(self, nth: int, how: str, who: str) -> None:
        """End a "do not drive", those that stand first; what stood already changes nothing."""
        findings = list(Finding.objects.order_by("over_at", "-pk"))
        finding, before = findings[nth % len(findings)], kept()
        if how == "withdrawn":
            path, body = "withdraw", {"reason": "Tapped on the wrong car."}
        else:
            path, body = "clear", {"how": how, "by": "Corm Mobile Mechanics"}
        answer = self.post(getattr(self, who), f"/findings/{finding.pk}/{path}", body)
        if how == "withdrawn" and who == "dealer":
            assert answer.status_code == 403
        elif finding.weight != "do_not_drive":
            assert answer.status_code == 409
        else:
            assert answer.status_code == 200
            changes = not finding.over_how or (
                finding.over_how == "transported" and how != "transported"
            )
            assert (kept() == before) is not changes

    @rule(nth=NTH, operation=st.sampled_from(list(OPERATIONS)))
    def add(self, nth: int, operation: str) -> None:
        self.post(self.tam, f"/jobs/{self.job(nth).pk}/tasks", {"operation": operation})

    @rule(nth=NTH, which=NTH, by_system=st.booleans())
    def start(self, nth: int, which: int, by_system: bool) -> None:  # noqa: FBT001
        job = self.job(nth)
        if task := self.task(job, which):
            api = self.system if by_system else self.tam
            self.post(api, f"/jobs/{job.pk}/tasks/{task.pk}/start")

    @rule(nth=NTH, which=NTH, done=st.booleans(), by_system=st.booleans())
    def finish(self, nth: int, which: int, done: bool, by_system: bool) -> None:  # noqa: FBT001
        job = self.job(nth)
        if task := self.task(job, which):
            api = self.system if by_system else self.tam
            self.post(api, f"/jobs/{job.pk}/tasks/{task.pk}/finish", {"done": done})

    @precondition(lambda _: Spell.objects.filter(ended_at__isnull=True).exists())
    @rule()
    def finish_what_runs(self) -> None:
        spell = Spell.objects.filter(ended_at__isnull=True).select_related("task")[0]
        path = f"/jobs/{spell.task.job_id}/tasks/{spell.task_id}/finish"
        assert self.post(self.tam, path).status_code == 200

    @rule(
        nth=NTH,
        changes=st.fixed_dictionaries(
            {},
            optional={
                "colour": st.sampled_from(["Red", "Slate"]),
                "operations": st.lists(st.sampled_from(CODES), max_size=3),
                "registration": st.sampled_from([*MARKS, "", "jx-19-klm"]),
                "cap_amount": st.sampled_from(["80.00", None]),
                "cap_minutes": st.sampled_from([90, None]),
            },
        ),
        off=st.sampled_from([None, 0, -1]),
    )
    def change(self, nth: int, changes: dict[str, Any], off: int | None) -> None:
        job, before = self.job(nth), kept()
        version = {} if off is None else {"version": max(0, job.version + off)}
        answer = self.dealer.patch(f"/work-orders/{job.pk}", {**changes, **version})
        assert answer.status_code in {200, 400, 409}, answer.content
        if answer.status_code != 200:
            assert kept() == before

    @rule(nth=NTH, sure=st.sampled_from([False, False, True]))
    def cancel(self, nth: int, sure: bool) -> None:  # noqa: FBT001
        if sure:  # not each time, or no car gets far
            self.post(self.dealer, f"/work-orders/{self.job(nth).pk}/cancel")

    @rule(nth=NTH, reason=st.sampled_from(["", "", "", "", "So it is."]))
    def collect(self, nth: int, reason: str) -> None:
        self.post(
            self.tam, f"/jobs/{self.job(nth).pk}/collection", {"reason": reason, "confirm": True}
        )

    @rule(nth=NTH, reason=REASON, who=st.sampled_from(["milo", "milo", "milo", "tam"]))
    def correct(self, nth: int, reason: str, who: str) -> None:
        """Undo the last step of a car; the job is then as it was before it, but for its version."""
        job = self.job(nth)
        step = step_standing(job)
        refusal = refusal_to_undo(job, step)
        before, since = state_before(job, step), job.ready_at
        body = {"version": job.version, "reason": reason}
        answer = self.post(getattr(self, who), f"/jobs/{job.pk}/corrections", body)
        if who == "tam":
            assert answer.status_code == 403
        elif refusal:
            assert answer.json()["code"] == refusal.code
        else:
            assert answer.status_code == 200
            job.refresh_from_db()
            assert (job.stage, job.rework_count) == (before.stage, before.rework)
            assert (job.arrived_at is not None, job.is_open) == (before.arrived, before.open)
            assert (job.ready_at is not None) == (before.stage is Stage.READY)
            assert step is None or step.kind != Kind.COLLECTED or job.ready_at == since

    @rule(minutes=st.sampled_from([1, 7, 31, 61]))
    def wait(self, minutes: int) -> None:
        self.time.shift(timedelta(minutes=minutes))
        COUNTER.clear()

    @precondition(lambda self: self.sent)
    @rule(nth=NTH)
    def repeat(self, nth: int) -> None:
        """Send a request again that went well, as a tablet does that heard no answer."""
        sent, before = self.sent[nth % len(self.sent)], kept()
        again = sent.api.post(sent.path, sent.body, headers={"Idempotency-Key": sent.key})
        assert (again.status_code, again.content) == (sent.status, sent.content)
        assert kept() == before

    @precondition(lambda self: self.sent)
    @rule(nth=NTH)
    def reuse(self, nth: int) -> None:
        """Use a key again for something else."""
        sent, before = self.sent[nth % len(self.sent)], kept()
        body = {**sent.body, "note": "Another."}
        again = sent.api.post(sent.path, body, headers={"Idempotency-Key": sent.key})
        assert again.status_code == 422
        assert kept() == before

    @precondition(lambda _: WaitClock.objects.filter(touch_test=True).exists())
    @rule(nth=NTH, dry=st.booleans(), late=st.sampled_from([0, 0, 40]))
    def feel(self, nth: int, dry: bool, late: int) -> None:  # noqa: FBT001
        """Feel something that dries, or dried; what one hand found another may find otherwise."""
        clocks = list(WaitClock.objects.filter(touch_test=True).order_by("closed_at", "-pk"))
        clock = clocks[nth % len(clocks)]
        made = max(now() - timedelta(minutes=late), clock.started_at)
        body = {"dry": dry, "occurred_at": made.isoformat()}
        answer = self.post(self.tam, f"/jobs/{clock.job_id}/clocks/{clock.pk}/touch-tests", body)
        assert answer.status_code == (409 if refuse_noting(clock.job.state) else 201)

    @rule(
        celsius=st.sampled_from([-2.0, 8.0, 12.0, 12.0, 15.0, 24.0]),
        humidity=st.sampled_from([None, 45.0, 100.0]),
        ago=st.sampled_from([0, 0, 20, 95, 400]),
    )
    def measure(self, celsius: float, humidity: float | None, ago: int) -> None:
        """Send a reading, late perhaps, and let the worker look at the clocks."""
        made = now() - timedelta(minutes=ago)
        body = {"celsius": celsius, "humidity_percent": humidity, "at": made.isoformat()}
        body["sensor"] = f"bay {self.requests}"  # two gauges may differ at one instant
        assert self.post(self.system, "/workshop/climate", body).status_code == 200
        work_out_clocks()

    @rule(days=st.sampled_from([13, 15, 15, 400]), again=st.booleans())
    def freeze(self, days: int, again: bool) -> None:  # noqa: FBT001
        """Make it too cold for anything to cure, for longer than a sum looks ahead."""
        for _ in range(1 + again):
            self.measure(-2.0, 100.0, 0)
            self.wait(days * 24 * 60)
            self.sign_in()
            self.sent.clear()  # keys are kept for a week
            self.sweep()
            self.no_car_with_a_halted_clock_becomes_ready_but_by_override()

    @rule()
    def sweep(self) -> None:
        """Run the worker's sweep of what is over; done again at once it finds nothing."""
        settle_clocks()
        before = kept()
        settle_clocks()
        assert kept() == before
        assert not jobs_to_settle(now(), limit=1)

    @rule(chosen=st.booleans())
    def choose(self, chosen: bool) -> None:  # noqa: FBT001
        """Switch on or off that cars become ready by themselves; it wants the password again."""
        self.sign_in()
        answer = self.milo.patch("/workshop/climate/setup", {"ready_by_itself": chosen})
        assert answer.status_code == 200


def state_before(job: Job, step: HistoryEntry | None) -> State:
    """Return the state of the job with a step left out, by replaying those that stand."""
    entries = list(job.history.order_by("number"))
    undone = {entry.data["number"] for entry in entries if entry.kind == Kind.CORRECTED}
    undone |= {step.number} if step else set()
    standing = [
        entry for entry in entries if entry.number not in undone and entry.kind != Kind.CORRECTED
    ]
    return replay([entry.step for entry in standing])


@pytest.mark.django_db
def test_the_books_agree_whatever_the_day_brings() -> None:
    run_state_machine_as_test(
        Workshop,
        settings=settings(
            max_examples=40,
            stateful_step_count=30,
            deadline=None,
            derandomize=True,
            database=None,
            suppress_health_check=list(HealthCheck),
        ),
    )
    # Days on which nothing happens prove nothing.
    assert Workshop.happened >= OF_A_WORKING_LIFE, OF_A_WORKING_LIFE - Workshop.happened
