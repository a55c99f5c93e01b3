"""The end of a "do not drive" at the desk: repaired, to be transported, or withdrawn."""

from collections.abc import Sequence
from typing import Any

from accounts.caller import Caller
from core.forms import Field
from jobs.desk.acts import CarAct, Given
from jobs.desk.selectors.car import finding_on
from jobs.work.calc.findings import FindingKind, Over, Weight, caution_for, refuse_ending
from jobs.work.calc.stages.machine import Refusal
from jobs.work.inputs.findings import ClearInput, StopWithdrawInput
from jobs.work.models import Finding, Job
from jobs.work.services.findings.do_not_drive import finding_clear, finding_withdraw
from jobs.work.words.jobs.history import over_words

HOW = [
    (Over.REPAIRED.value, "It was repaired"),
    (Over.TRANSPORTED.value, "It will be transported, not driven"),
]


class StopAct(CarAct):
    """Something that ends a "do not drive"."""

    def find(self, job: Job, **which: Any) -> Finding:
        return finding_on(job, which["finding_id"])

    def refusal(self, job: Job, about: Any) -> Refusal | None:
        del job
        if about.over_how in {Over.REPAIRED, Over.WITHDRAWN}:
            said = over_words(about.over_how, about.over_by, about.over_at)
            return Refusal("over", said, "No action needed.")
        return refuse_ending(about.weight)

    def facts(self, job: Job, about: Any) -> Sequence[tuple[str, Any]]:
        del job
        so_far = over_words(about.over_how, about.over_by, about.over_at)
        return [
            ("What was noticed", about.noticed),
            ("Noticed at", about.occurred_at),
            ("Reported by", about.actor),
            *([("So far", so_far)] if so_far else []),
        ]

    def caution(self, job: Job, about: Any) -> str:
        del job
        return caution_for(FindingKind(about.kind), Weight(about.weight))


class Clear(StopAct):
    """Record that it was repaired, or will be transported; the hold ends."""

    serializer = ClearInput
    title, button = "Repaired, or to be transported", "Record it and end the hold"

    def fields(self, job: Job, about: Any) -> list[Field]:
        del job, about
        return [
            Field("how", "What happened", "choice", required=True, choices=HOW),
            Field(
                "by",
                "By whom",
                required=True,
                hint="Who repaired it, or who transports it. The dealer reads it.",
                longest=200,
            ),
            Field("at", "When (optional)", "datetime", hint="Left empty: now."),
        ]

    def act(self, caller: Caller, job: Job, about: Any, values: Given) -> str:
        finding_clear(
            caller=caller,
            finding_id=about.pk,
            how=Over(values["how"]),
            by=values["by"],
            at=values.get("at"),
        )
        if values["how"] == Over.TRANSPORTED:
            return f"{job} may go on; it must still not be driven. Everybody has been told."
        return f"{job} was repaired; everybody who was told of it knows."


class WithdrawStop(StopAct):
    """Withdraw a "do not drive" that was a mistake; everybody who was told is told why."""

    serializer = StopWithdrawInput
    title, button, stops = "Withdraw “do not drive”", "Withdraw it", True

    def fields(self, job: Job, about: Any) -> list[Field]:
        del job, about
        hint = "As in: reported on the wrong car. Everybody who was told reads it."
        return [Field("reason", "Why it was a mistake", required=True, hint=hint, longest=500)]

    def act(self, caller: Caller, job: Job, about: Any, values: Given) -> str:
        finding_withdraw(caller=caller, finding_id=about.pk, reason=values["reason"])
        return f"{job}: “do not drive” is withdrawn. Everybody who was told knows."
