"""Holds: the job waits for something, and its working clock stops."""

from django.db import models

from core.ids import new_id
from jobs.work.models.jobs.job import Job


class Hold(models.Model):
    """A wait that overlays the stage and stops the working clock."""

    class Cause(models.TextChoices):
        DECISION = "decision", "the dealer's decision"
        PARTS = "parts", "parts"
        WEATHER = "weather", "weather"
        DRYING = "drying", "drying"

    id = models.UUIDField(primary_key=True, default=new_id, editable=False)
    job = models.ForeignKey(Job, on_delete=models.PROTECT, related_name="holds", db_index=False)
    cause = models.CharField(max_length=10, choices=Cause.choices)
    reason = models.CharField(max_length=500, blank=True)
    started_at = models.DateTimeField()
    ended_at = models.DateTimeField(null=True)

    class Meta:
        indexes = [models.Index(fields=["job", "started_at"], name="hold_by_job")]

    def __str__(self) -> str:
        return f"waiting for {self.cause}"
