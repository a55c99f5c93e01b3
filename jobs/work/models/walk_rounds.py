"""The walk-rounds on arrival and on leaving."""

from django.db import models

from core.ids import new_id
from jobs.work.models.jobs.job import Job
from jobs.work.models.jobs.noted import Noted


class WalkRound(Noted):
    """A record of the car as it came or as it left; a later one of the same occasion corrects."""

    class Occasion(models.TextChoices):
        ARRIVAL = "arrival", "on arrival"
        LEAVING = "leaving", "on leaving"

    id = models.UUIDField(primary_key=True, default=new_id, editable=False)
    job = models.ForeignKey(
        Job, on_delete=models.PROTECT, related_name="walk_rounds", db_index=False
    )
    occasion = models.CharField(max_length=10, choices=Occasion.choices)
    mileage = models.PositiveIntegerField(null=True)
    mileage_unit = models.CharField(max_length=5, choices=Job.MileageUnit.choices, blank=True)
    fuel_percent = models.PositiveSmallIntegerField(null=True)
    charge_percent = models.PositiveSmallIntegerField(null=True)
    keys_count = models.PositiveSmallIntegerField(null=True)
    warning_lights = models.JSONField(default=list, help_text="Codes of warning lights that lit.")
    items = models.JSONField(default=dict, help_text="Item code: present, absent or not_checked.")
    damage = models.JSONField(default=list, help_text="Objects of area, noticed, photo_ids.")
    notes = models.CharField(max_length=1000, blank=True)

    class Meta:
        indexes = [models.Index(fields=["job", "id"], name="walk_round_by_job")]

    def __str__(self) -> str:
        return f"{self.occasion} {self.occurred_at}"
