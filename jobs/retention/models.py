"""Terms that a workshop has of its own, cars that are kept, and the record of what went."""

from django.db import models
from django.db.models import Q

from accounts.models import Organisation
from core.ids import new_id
from jobs.retention.terms import KINDS, DataKind
from jobs.work.models import Job

KIND_CHOICES = [(kind.value, about.what) for kind, about in KINDS.items()]


class Term(models.Model):
    """For how many days a workshop's data of a kind are kept, where that is not as for all."""

    workshop = models.ForeignKey(
        Organisation, on_delete=models.PROTECT, related_name="+", db_index=False
    )
    kind = models.CharField(max_length=20, choices=KIND_CHOICES)
    days = models.PositiveIntegerField()

    class Meta:
        constraints = [models.UniqueConstraint(fields=["workshop", "kind"], name="term_once")]

    def __str__(self) -> str:
        return f"{self.kind}: {self.days} days"


class KeptCar(models.Model):
    """A car of which nothing goes, since it is in dispute, until somebody ends that."""

    id = models.UUIDField(primary_key=True, default=new_id, editable=False)
    job = models.ForeignKey(Job, on_delete=models.PROTECT, related_name="+", db_index=False)
    reason = models.CharField(max_length=200)
    since = models.DateTimeField()
    ended_at = models.DateTimeField(null=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["job"], condition=Q(ended_at=None), name="kept_car_once"
            )
        ]
        indexes = [models.Index(fields=["job"], name="kept_car_by_job")]

    def __str__(self) -> str:
        return f"{self.job_id} since {self.since}"


class Cleared(models.Model):
    """That a car's data of a kind have gone, so that no sweep looks for them again."""

    job = models.ForeignKey(Job, on_delete=models.PROTECT, related_name="+", db_index=False)
    kind = models.CharField(max_length=20, choices=KIND_CHOICES)
    at = models.DateTimeField()

    class Meta:
        verbose_name_plural = "cleared"
        constraints = [models.UniqueConstraint(fields=["job", "kind"], name="cleared_once")]

    def __str__(self) -> str:
        return f"{self.kind} of {self.job_id}"


class Removal(models.Model):
    """One pass of a sweep over a kind of data, or one erasure: how much went, and never whose."""

    class Step(models.TextChoices):
        PERSONAL = DataKind.PERSONAL.value, "personal data of cars"
        PICTURES = DataKind.PICTURES.value, "photographs"
        HISTORY = DataKind.HISTORY.value, "names and words of cars"
        READINGS = DataKind.READINGS.value, "readings of the air"
        NOTICES = DataKind.NOTICES.value, "notices"
        ATTEMPTS = DataKind.ATTEMPTS.value, "attempts"
        IMPORTS = DataKind.IMPORTS.value, "lists of orders"
        SIGN_INS = DataKind.SIGN_INS.value, "failed sign-ins"
        OPERATOR = DataKind.OPERATOR.value, "what the operator changed"
        MAIL = DataKind.MAIL.value, "e-mails kept as files"
        FILES = "files", "files of photographs without a row"
        PERSON = "person", "erasure of a person"
        DEALER = "dealer", "erasure of a dealer"
        WORKSHOP = "workshop", "erasure of a workshop"

    id = models.UUIDField(primary_key=True, default=new_id, editable=False)
    step = models.CharField(max_length=20, choices=Step.choices)
    started_at = models.DateTimeField()
    finished_at = models.DateTimeField(null=True)
    # Where a pass goes on; an id, a number or a folder.
    place = models.CharField(max_length=100, blank=True)
    cars = models.PositiveIntegerField(default=0)
    rows = models.PositiveIntegerField(default=0)
    files = models.PositiveIntegerField(default=0)
    oldest = models.DateTimeField(null=True, help_text="When the oldest that went was from.")
    newest = models.DateTimeField(null=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["step"], condition=Q(finished_at=None), name="removal_open_once"
            )
        ]

    def __str__(self) -> str:
        return f"{self.step} from {self.started_at}"
