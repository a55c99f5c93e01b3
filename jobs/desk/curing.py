"""A touch test written down at the desk: the sums only advise, a hand says whether it is dry."""

from collections.abc import Sequence
from typing import Any

from accounts.caller import Caller
from core.clock import now
from core.forms import Field
from jobs.desk.acts import CarAct, Given
from jobs.desk.selectors.curing import clock_on
from jobs.work.calc.stages.machine import Refusal, refuse_noting
from jobs.work.inputs.curing import LONGEST_NOTE, TouchTestInput
from jobs.work.models import Job, WaitClock
from jobs.work.services.curing.touch_tests import touch_test_record
from jobs.work.words.curing import ShownClock


class TouchTest(CarAct):
    """Somebody felt whether it is dry."""

    serializer = TouchTestInput
    title, button = "Touch test", "Write it down"

    def find(self, job: Job, **which: Any) -> WaitClock:
        return clock_on(job, which["clock_id"])

    def refusal(self, job: Job, about: Any) -> Refusal | None:
        if not about.touch_test:
            detail = f"{ShownClock(about, now()).name} ends by itself; nobody has to feel it."
            return Refusal("no_touch_test", detail, "Let it stand until then.")
        if about.closed_at is not None:
            return Refusal("dry", "It was found dry before.", "Nothing is to be done.")
        return refuse_noting(job.state)

    def facts(self, job: Job, about: Any) -> Sequence[tuple[str, Any]]:
        del job
        wait = ShownClock(about, now())
        earliest = [("May be dry from", wait.earliest_at)] if wait.earliest_at else []
        return [
            ("What", wait.name),
            ("Wet since", about.started_at),
            *earliest,
            ("Ought to be dry by", about.ends_at or f"Nobody can say; it {wait.halted}"),
        ]

    def caution(self, job: Job, about: Any) -> str:
        del job, about
        return (
            "Press a dry hand or a paper towel deep into seats, seams and carpets, under mats too. "
            "What is damp still smells and grows mould once the car is shut."
        )

    def fields(self, job: Job, about: Any) -> list[Field]:
        del job, about
        found = [("true", "Dry"), ("false", "Still damp")]
        hint = "Still damp: it gets more time, and the test is asked for again."
        return [
            Field("dry", "What the hand felt", "choice", required=True, choices=found, hint=hint),
            Field("note", "Where, if it matters", longest=LONGEST_NOTE),
        ]

    def act(self, caller: Caller, job: Job, about: Any, values: Given) -> str:
        touch_test_record(
            caller=caller,
            job_id=job.pk,
            clock_id=about.pk,
            dry=values["dry"],
            occurred_at=now(),
            note=values.get("note", ""),
        )
        name = ShownClock(about, now()).name
        if values["dry"]:
            return f"{job}: found dry ({name})."
        return f"{job}: still damp ({name}). It gets more time, and the test is asked for again."
