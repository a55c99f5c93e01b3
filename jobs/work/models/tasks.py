"""Tasks with their spells of work."""

from django.db import models
from django.db.models import Q

from accounts.models import Person
from core.ids import new_id
from jobs.work.calc.stages.machine import Stage
from jobs.work.models.jobs.job import Job


class Task(models.Model):
    """One operation on one job.

    What the catalogue said is copied, so that later changes of it do not rewrite the past.
    """

    class State(models.TextChoices):
        WANTED = "wanted", "wanted"
        STARTED = "started", "started"
        FINISHED = "finished", "finished"
        DROPPED = "dropped", "dropped by a change of scope"

    class Doubt(models.TextChoices):
        NONE = "", "nothing to ask"
        ASKED = "asked", "asked whether the minutes are right"
        RIGHT = "right", "somebody said that they are right"
        FORGOTTEN = "forgotten", "a clock was forgotten, and somebody told the minutes"

    id = models.UUIDField(primary_key=True, default=new_id, editable=False)
    job = models.ForeignKey(Job, on_delete=models.PROTECT, related_name="tasks", db_index=False)
    operation = models.CharField(max_length=40)
    name = models.CharField(max_length=80)
    stage = models.CharField(max_length=10, choices=[(stage.value, stage.value) for stage in Stage])
    state = models.CharField(max_length=10, choices=State.choices, default=State.WANTED)
    planned_minutes = models.PositiveIntegerField()
    actual_minutes = models.PositiveIntegerField(null=True)
    started_at = models.DateTimeField(null=True)
    finished_at = models.DateTimeField(null=True)
    note = models.CharField(max_length=300, blank=True)
    # Minutes far from what such work takes are asked about: a clock may have been forgotten.
    doubt = models.CharField(max_length=10, choices=Doubt.choices, blank=True)
    told_minutes = models.PositiveIntegerField(
        null=True, help_text="What it really took, as somebody told when asked."
    )

    class Meta:
        indexes = [
            models.Index(fields=["job", "id"], name="task_by_job"),
            models.Index(fields=["operation", "finished_at"], name="task_by_operation"),
        ]

    def __str__(self) -> str:
        return self.name


class Spell(models.Model):
    """One person's time on a task, from start to pause or finish."""

    id = models.UUIDField(primary_key=True, default=new_id, editable=False)
    task = models.ForeignKey(Task, on_delete=models.PROTECT, related_name="spells")
    person = models.ForeignKey(
        Person, on_delete=models.PROTECT, null=True, related_name="spells", db_index=False
    )
    started_at = models.DateTimeField()
    ended_at = models.DateTimeField(null=True)

    class Meta:
        indexes = [
            models.Index(fields=["person", "started_at"], name="spell_by_person"),
            models.Index(fields=["ended_at"], name="spell_by_end"),
        ]
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
