"""Coats of paint with the flash-off after each, and the parts or paint a dealer supplied."""

from django.db import models

from core.ids import new_id
from jobs.models.job import Job
from jobs.models.work import Task


class Coat(models.Model):
    """One light coat on the part a task refinishes; the next waits until it has flashed off."""

    class Kind(models.TextChoices):
        PRIMER = "primer", "primer"
        COLOUR = "colour", "colour"
        LACQUER = "lacquer", "lacquer"

    id = models.UUIDField(primary_key=True, default=new_id, editable=False)
    task = models.ForeignKey(Task, on_delete=models.PROTECT, related_name="coats")
    number = models.PositiveSmallIntegerField(help_text="1, 2, 3 … within the task.")
    kind = models.CharField(max_length=10, choices=Kind.choices)
    flash_off_minutes = models.PositiveSmallIntegerField()
    applied_at = models.DateTimeField()
    flashed_off_at = models.DateTimeField()
    reason = models.CharField(
        max_length=500, blank=True, help_text="Why it went on before the last had flashed off."
    )
    recorded_at = models.DateTimeField()
    actor = models.CharField(max_length=200)
    actor_person_id: "models.UUIDField" = models.UUIDField(null=True)  # type: ignore[type-arg]

    class Meta:
        constraints = [models.UniqueConstraint(fields=["task", "number"], name="coat_number_once")]

    def __str__(self) -> str:
        return f"coat {self.number}, {self.kind}"


class SuppliedTick(models.Model):
    """What became of one thing the dealer supplied; `item` is its text in the work order."""

    class State(models.TextChoices):
        RECEIVED = "received", "here"
        FITTED = "fitted", "fitted or used"
        NOT_USED = "not_used", "not used"

    id = models.UUIDField(primary_key=True, default=new_id, editable=False)
    job = models.ForeignKey(Job, on_delete=models.PROTECT, related_name="supplied_ticks")
    item = models.CharField(max_length=120)
    state = models.CharField(max_length=10, choices=State.choices)
    note = models.CharField(max_length=300, blank=True)
    occurred_at = models.DateTimeField()
    recorded_at = models.DateTimeField()
    actor = models.CharField(max_length=200)
    actor_person_id: "models.UUIDField" = models.UUIDField(null=True)  # type: ignore[type-arg]

    class Meta:
        constraints = [models.UniqueConstraint(fields=["job", "item"], name="supplied_item_once")]

    def __str__(self) -> str:
        return f"{self.item}: {self.state}"
