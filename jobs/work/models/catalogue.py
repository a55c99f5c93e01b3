"""A workshop's own operations and packages, or its way of ours (the same code)."""

from django.db import models

from accounts.models import Organisation
from core.ids import new_id
from jobs.work.calc.stages.machine import Stage


class Operation(models.Model):
    """One kind of work as a workshop does it; what it leaves out stays as we say it."""

    class Waits(models.TextChoices):
        NOTHING = "", "nothing"
        CURE = "cure", "curing"
        DRYING = "drying", "drying"

    id = models.UUIDField(primary_key=True, default=new_id, editable=False)
    workshop = models.ForeignKey(
        Organisation, on_delete=models.PROTECT, related_name="+", db_index=False
    )
    code = models.CharField(max_length=40)
    name = models.CharField(max_length=80)
    stage = models.CharField(max_length=10, choices=[(stage.value, stage.value) for stage in Stage])
    standard_minutes = models.PositiveIntegerField()
    waits = models.CharField(max_length=10, choices=Waits.choices, blank=True)
    wait_minutes = models.PositiveIntegerField(default=0)
    caution = models.CharField(max_length=600, blank=True)
    hidden = models.BooleanField(default=False, help_text="Cannot be ordered any more.")
    updated_at = models.DateTimeField()

    class Meta:
        constraints = [models.UniqueConstraint(fields=["workshop", "code"], name="operation_once")]

    def __str__(self) -> str:
        return self.name


class Package(models.Model):
    """Operations that are ordered together at a workshop."""

    id = models.UUIDField(primary_key=True, default=new_id, editable=False)
    workshop = models.ForeignKey(
        Organisation, on_delete=models.PROTECT, related_name="+", db_index=False
    )
    code = models.CharField(max_length=40)
    name = models.CharField(max_length=80)
    operations = models.JSONField(default=list, help_text="Codes of operations, in order.")
    hidden = models.BooleanField(default=False, help_text="Cannot be ordered any more.")
    updated_at = models.DateTimeField()

    class Meta:
        constraints = [models.UniqueConstraint(fields=["workshop", "code"], name="package_once")]

    def __str__(self) -> str:
        return self.name
