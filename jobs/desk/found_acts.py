"""What the desk does about what was found in a car: tell the dealer, give a thing back."""

from collections.abc import Sequence
from typing import Any

from rest_framework import serializers

from accounts.caller import Caller
from core.forms import Field
from jobs.desk.acts import CarAct, Given
from jobs.desk.selectors.car import belonging_on, finding_on
from jobs.work.calc.findings import FindingKind, Weight, caution_for
from jobs.work.calc.stages.machine import Refusal
from jobs.work.inputs.findings import AcknowledgeInput, ReturnInput
from jobs.work.models import Belonging, Finding, Job
from jobs.work.services.findings.belongings import belonging_return
from jobs.work.services.findings.findings import finding_acknowledge


class ToldInput(AcknowledgeInput):
    """A finding the dealer was told of by telephone: whom is not left out."""

    told = serializers.CharField(max_length=200)


class Told(CarAct):
    """Acknowledge a finding for the dealer, who was told by telephone."""

    serializer = ToldInput
    title, button = "Told the dealer by telephone", "Record that the dealer knows"
    here = "waiting"

    def find(self, job: Job, **which: Any) -> Finding:
        return finding_on(job, which["finding_id"])

    def refusal(self, job: Job, about: Any) -> Refusal | None:
        del job
        if about.acknowledged_at is None:
            return None
        return Refusal(
            "acknowledged",
            f"This finding was acknowledged by {about.acknowledged_by}.",
            "Nothing is to be done.",
        )

    def facts(self, job: Job, about: Any) -> Sequence[tuple[str, Any]]:
        phone = " ".join(filter(None, (job.contact_name, job.contact_phone)))
        return [
            ("What was noticed", about.noticed),
            *([("When it happens", about.circumstance)] if about.circumstance else []),
            ("Noticed at", about.occurred_at),
            ("Whom to ring", phone or f"{job.dealer.name} (the order names no contact)"),
        ]

    def caution(self, job: Job, about: Any) -> str:
        del job
        return caution_for(FindingKind(about.kind), Weight(about.weight))

    def fields(self, job: Job, about: Any) -> list[Field]:
        del job, about
        return [
            Field(
                "told",
                "Whom you told, and how",
                required=True,
                hint="As in: Ines Okafor-Lind, by telephone.",
                longest=200,
            ),
            Field("note", "What was said", "textarea", longest=500),
        ]

    def act(self, caller: Caller, job: Job, about: Any, values: Given) -> str:
        finding_acknowledge(
            caller=caller,
            finding_id=about.pk,
            occurred_at=None,
            note=values.get("note", ""),
            told=values["told"],
        )
        held = " It stays on hold." if about.must_not_be_driven and not about.over_how else ""
        return f"{job}: recorded that the dealer knows.{held}"


class GiveBack(CarAct):
    """Sign a thing back that was found in the car."""

    serializer = ReturnInput
    title, button = "Give a thing back", "Record that it was signed for"
    here = "waiting"

    def find(self, job: Job, **which: Any) -> Belonging:
        return belonging_on(job, which["belonging_id"])

    def refusal(self, job: Job, about: Any) -> Refusal | None:
        del job
        if not about.is_thing:
            return Refusal("no_thing", "This is data in the car.", "Say on the tablet: wiped?")
        if about.returned_at is not None:
            to = f"It was signed for by {about.returned_to}."
            return Refusal("returned", to, "Nothing is to be done.")
        return None

    def facts(self, job: Job, about: Any) -> Sequence[tuple[str, Any]]:
        del job
        found = about.finding
        return [("What", found.noticed), ("Found", found.occurred_at), ("Kept", about.kept_at)]

    def fields(self, job: Job, about: Any) -> list[Field]:
        del job, about
        return [Field("returned_to", "Who signs for it", required=True, longest=120)]

    def act(self, caller: Caller, job: Job, about: Any, values: Given) -> str:
        belonging_return(
            caller=caller,
            job_id=job.pk,
            belonging_id=about.pk,
            returned_to=values["returned_to"],
            occurred_at=None,
        )
        return f"{job}: signed for by {values['returned_to']}."
