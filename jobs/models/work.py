"""Tasks with their spells of work, holds, and the clocks of what cures or dries."""

from django.db import models
from django.db.models import Q

from accounts.models import Person
from core.ids import new_id
from jobs.calc.stages import Stage
from jobs.models.job import Job


class Task(models.Model):
    """One operation on one job.

    What the catalogue said is copied, so that later changes of it do not rewrite the past.
    """

    class State(models.TextChoices):
        WANTED = "wanted", "wanted"
        STARTED = "started", "started"
        FINISHED = "finished", "finished"
        DROPPED = "dropped", "dropped by a change of scope"

    id = models.UUIDField(primary_key=True, default=new_id, editable=False)
    job = models.ForeignKey(Job, on_delete=models.PROTECT, related_name="tasks")
    operation = models.CharField(max_length=40)
    name = models.CharField(max_length=80)
    stage = models.CharField(max_length=10, choices=[(one.value, one.value) for one in Stage])
    state = models.CharField(max_length=10, choices=State.choices, default=State.WANTED)
    planned_minutes = models.PositiveIntegerField()
    actual_minutes = models.PositiveIntegerField(null=True)
    started_at = models.DateTimeField(null=True)
    finished_at = models.DateTimeField(null=True)
    note = models.CharField(max_length=300, blank=True)

    class Meta:
        indexes = [models.Index(fields=["job", "id"], name="task_by_job")]

    def __str__(self) -> str:
        return self.name


class Spell(models.Model):
    """One person's time on a task, from start to pause or finish."""

    id = models.UUIDField(primary_key=True, default=new_id, editable=False)
    task = models.ForeignKey(Task, on_delete=models.PROTECT, related_name="spells")
    person = models.ForeignKey(Person, on_delete=models.PROTECT, null=True, related_name="+")
    started_at = models.DateTimeField()
    ended_at = models.DateTimeField(null=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["task", "person"],
                condition=Q(ended_at__isnull=True),
                name="spell_open_once",
            ),
            models.UniqueConstraint(
                fields=["task"],
                condition=Q(ended_at__isnull=True, person__isnull=True),
                name="spell_open_once_unnamed",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.person_id} from {self.started_at}"


class Hold(models.Model):
    """A wait that overlays the stage and stops the working clock."""

    class Cause(models.TextChoices):
        DECISION = "decision", "the dealer's decision"
        PARTS = "parts", "parts"
        WEATHER = "weather", "weather"
        DRYING = "drying", "drying"

    id = models.UUIDField(primary_key=True, default=new_id, editable=False)
    job = models.ForeignKey(Job, on_delete=models.PROTECT, related_name="holds")
    cause = models.CharField(max_length=10, choices=Cause.choices)
    reason = models.CharField(max_length=500, blank=True)
    started_at = models.DateTimeField()
    ended_at = models.DateTimeField(null=True)

    class Meta:
        indexes = [models.Index(fields=["job", "started_at"], name="hold_by_job")]

    def __str__(self) -> str:
        return f"waiting for {self.cause}"


class WaitClock(models.Model):
    """Something on the car that cures, dries or flashes off until a time; the last decides."""

    class Kind(models.TextChoices):
        CURE = "cure", "curing"
        DRYING = "drying", "drying"
        FLASH_OFF = "flash_off", "flashing off"

    id = models.UUIDField(primary_key=True, default=new_id, editable=False)
    job = models.ForeignKey(Job, on_delete=models.PROTECT, related_name="clocks")
    task = models.ForeignKey(Task, on_delete=models.PROTECT, related_name="clocks")
    kind = models.CharField(max_length=10, choices=Kind.choices)
    started_at = models.DateTimeField()
    ends_at = models.DateTimeField()

    class Meta:
        indexes = [models.Index(fields=["job", "ends_at"], name="clock_by_job")]

    def __str__(self) -> str:
        return f"{self.kind} until {self.ends_at}"
