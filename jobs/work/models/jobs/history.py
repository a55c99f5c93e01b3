"""The history of a job: appended to, never changed."""

from collections.abc import Mapping, Sequence
from typing import Any

from django.db import models

from core.ids import new_id
from core.money import amounts_of
from jobs.work.calc.stages.machine import Kind, Stage, Step
from jobs.work.models.jobs.job import Job
from jobs.work.models.jobs.noted import Noted


class HistoryEntry(Noted):
    """One thing that happened to a job; the database refuses to change it."""

    id = models.UUIDField(primary_key=True, default=new_id, editable=False)
    job = models.ForeignKey(Job, on_delete=models.PROTECT, related_name="history", db_index=False)
    number = models.PositiveIntegerField(help_text="1, 2, 3 … within the job.")
    kind = models.CharField(max_length=15, choices=[(kind.value, kind.value) for kind in Kind])
    version = models.PositiveIntegerField(help_text="The job's version after it.")
    made_against = models.PositiveIntegerField(
        null=True, help_text="The version the caller had seen."
    )
    from_stage = models.CharField(max_length=10, blank=True)
    to_stage = models.CharField(
        max_length=10, blank=True, choices=[(stage.value, stage.value) for stage in Stage]
    )
    reason = models.CharField(max_length=500, blank=True)
    actor_key = models.CharField(max_length=8, blank=True)
    data = models.JSONField(default=dict)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["job", "number"], name="history_number_once")
        ]
        verbose_name_plural = "history entries"

    def __str__(self) -> str:
        return f"{self.number} {self.kind}"

    @property
    def step(self) -> Step:
        """Return what replay needs of it."""
        undoes = self.data.get("undoes") if self.kind == Kind.CORRECTED else None
        return Step(
            Kind(self.kind),
            Stage(self.to_stage) if self.to_stage else None,
            Kind(undoes) if undoes else None,
        )

    def save(self, *args: Any, **kwargs: Any) -> None:
        """Insert only."""
        kwargs["force_insert"] = True
        super().save(*args, **kwargs)


def without_amounts(changes: Sequence[Mapping[str, Any]]) -> list[Mapping[str, Any]]:
    """Return changes of an order with its amounts of money named, and not shown."""
    amounts, hidden = amounts_of(Job), {"was": None, "now": None}
    return [{**change, **hidden} if change["field"] in amounts else change for change in changes]
