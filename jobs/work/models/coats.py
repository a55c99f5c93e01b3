"""Coats of paint with the flash-off after each, and the parts or paint a dealer supplied."""

from datetime import datetime

from django.db import models

from core.ids import new_id
from jobs.work.calc.coats import CoatKind, Timer
from jobs.work.models.curing import WaitClock
from jobs.work.models.jobs.job import Job
from jobs.work.models.jobs.noted import Noted
from jobs.work.models.tasks import Task


class Coat(models.Model):
    """One light coat on the part a task refinishes; the next waits until it has flashed off.

    Its timer is a clock of the job like any other, so that what waits for clocks waits for it.
    """

    id = models.UUIDField(primary_key=True, default=new_id, editable=False)
    task = models.ForeignKey(Task, on_delete=models.PROTECT, related_name="coats", db_index=False)
    clock = models.OneToOneField(WaitClock, on_delete=models.PROTECT, related_name="coat")
    number = models.PositiveSmallIntegerField(help_text="1, 2, 3 … within the task.")
    kind = models.CharField(max_length=10, choices=[(kind.value, kind.value) for kind in CoatKind])
    flash_off_minutes = models.PositiveSmallIntegerField()
    early = models.BooleanField(
        default=False, help_text="It went on before the last had flashed off."
    )
    reason = models.CharField(max_length=500, blank=True)
    recorded_at = models.DateTimeField()
    actor = models.CharField(max_length=200)
    actor_person_id: "models.UUIDField" = models.UUIDField(null=True)  # type: ignore[type-arg]

    class Meta:
        constraints = [models.UniqueConstraint(fields=["task", "number"], name="coat_number_once")]

    def __str__(self) -> str:
        return f"coat {self.number}, {self.kind}"

    @property
    def applied_at(self) -> datetime:
        """Return when it went on, by the device's clock."""
        return self.clock.started_at

    @property
    def flashed_off_at(self) -> datetime | None:
        """Return when the next may go on; None while it is too cold for that."""
        return self.clock.ends_at

    @property
    def timer(self) -> Timer:
        """Return what the sums look at."""
        return Timer(self.applied_at, self.flashed_off_at)


class SuppliedTick(Noted):
    """What became of one thing the dealer supplied; `item` is its text in the work order."""

    class State(models.TextChoices):
        RECEIVED = "received", "here"
        FITTED = "fitted", "fitted or used"
        NOT_USED = "not_used", "not used"

    id = models.UUIDField(primary_key=True, default=new_id, editable=False)
    job = models.ForeignKey(
        Job, on_delete=models.PROTECT, related_name="supplied_ticks", db_index=False
    )
    item = models.CharField(max_length=120)
    state = models.CharField(max_length=10, choices=State.choices)
    note = models.CharField(max_length=300, blank=True)

    class Meta:
        constraints = [models.UniqueConstraint(fields=["job", "item"], name="supplied_item_once")]

    def __str__(self) -> str:
        return f"{self.item}: {self.state}"
