"""A manager undoes the last step of a car at the desk."""

from collections.abc import Sequence
from typing import Any

from accounts.caller import Caller
from core.clock import now
from core.forms import Field
from jobs.desk.acts import CarAct, Given, reason_field
from jobs.work.calc.stages.machine import Refusal
from jobs.work.inputs.stages import CorrectionInput
from jobs.work.models import HistoryEntry, Job
from jobs.work.selectors.stages import refusal_to_undo, step_standing
from jobs.work.services.stages.corrections import job_correct
from jobs.work.words.jobs.history import sentence, undo_words


class Correct(CarAct):
    """Undo the last arrival, move or collection; whoever was told of it is told."""

    serializer = CorrectionInput
    title, button, stops = "Undo the last step", "Undo it", True

    def find(self, job: Job, **which: Any) -> HistoryEntry | None:
        del which
        return step_standing(job)

    def refusal(self, job: Job, about: Any) -> Refusal | None:
        return refusal_to_undo(job, about)

    def facts(self, job: Job, about: Any) -> Sequence[tuple[str, Any]]:
        del job
        if about is None:
            return []
        done = [("What was recorded", sentence(about)), ("By", about.actor)]
        return [*done, ("When", about.occurred_at), ("What this does", undo_words(about))]

    def caution(self, job: Job, about: Any) -> str:
        del job, about
        return (
            "For a step that was recorded by mistake. It is no rework; whoever was told of it is "
            "told. Where the car really goes back to be worked on again, move it back instead."
        )

    def fields(self, job: Job, about: Any) -> list[Field]:
        del about
        return [
            reason_field("Why it was a mistake (optional)", hint="The dealer reads it."),
            Field("version", "State seen", "hidden", value=job.version),
        ]

    def act(self, caller: Caller, job: Job, about: Any, values: Given) -> str:
        del about
        done = job_correct(
            caller=caller,
            job_id=job.pk,
            made_against=values["version"],
            occurred_at=now(),
            reason=values.get("reason", ""),
        )
        where = f"it is in {done.stage}" if done.arrived_at else "it has not arrived"
        return f"{job} is put right: {where}. Whoever was told otherwise is told."
