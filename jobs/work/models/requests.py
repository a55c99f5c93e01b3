"""Requests for extra work and the dealer's answer; the dealer's own changes seen by the valeter."""

from django.db import models
from django.db.models import Q

from core.ids import new_id
from jobs.work.models.holds import Hold
from jobs.work.models.jobs.job import Job
from jobs.work.models.photographs import Photo


class WorkRequest(models.Model):
    """Extra work proposed to the dealer: what, why, its price, what happens if it is not done."""

    class State(models.TextChoices):
        OPEN = "open", "open"
        APPROVED = "approved", "approved"
        DECLINED = "declined", "declined"
        LAPSED = "lapsed", "lapsed: no answer came in time"
        WITHDRAWN = "withdrawn", "withdrawn by the workshop"

    class Way(models.TextChoices):
        API = "api", "over the API"
        LINK = "link", "by the link in the e-mail"

    id = models.UUIDField(primary_key=True, default=new_id, editable=False)
    job = models.ForeignKey(Job, on_delete=models.PROTECT, related_name="requests", db_index=False)
    state = models.CharField(max_length=10, choices=State.choices, default=State.OPEN)
    what = models.CharField(max_length=200)
    why = models.CharField(max_length=1000)
    if_not_done = models.CharField(max_length=500)
    operations = models.JSONField(default=list, help_text="Codes that an approval adds as tasks.")
    minutes = models.PositiveIntegerField()
    price = models.DecimalField(max_digits=10, decimal_places=2, null=True)
    currency = models.CharField(max_length=3, blank=True)
    answer_by = models.DateTimeField()
    photos = models.ManyToManyField(Photo, related_name="requests")
    hold = models.OneToOneField(Hold, on_delete=models.PROTECT, null=True, related_name="request")
    # Raised by each question and each reply, so that a link from an e-mail answers once only.
    round = models.PositiveSmallIntegerField(default=1)
    opened_at = models.DateTimeField(help_text="By the device's clock.")
    recorded_at = models.DateTimeField(help_text="By the server's clock.")
    actor = models.CharField(max_length=200)
    actor_person_id: "models.UUIDField" = models.UUIDField(null=True)  # type: ignore[type-arg]
    closed_at = models.DateTimeField(null=True)
    closed_by = models.CharField(max_length=200, blank=True)
    closed_way = models.CharField(max_length=5, choices=Way.choices, blank=True)
    closed_note = models.CharField(max_length=500, blank=True)

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=Q(state="open", closed_at__isnull=True)
                | (~Q(state="open") & Q(closed_at__isnull=False)),
                name="request_closed_when_not_open",
            )
        ]
        indexes = [
            models.Index(fields=["job", "id"], name="request_by_job"),
            models.Index(fields=["answer_by"], condition=Q(state="open"), name="request_to_lapse"),
        ]

    def __str__(self) -> str:
        return self.what


class RequestMessage(models.Model):
    """A question of the dealer about a request, or the workshop's reply."""

    class Side(models.TextChoices):
        DEALER = "dealer", "the dealer asks"
        WORKSHOP = "workshop", "the workshop replies"

    id = models.UUIDField(primary_key=True, default=new_id, editable=False)
    request = models.ForeignKey(
        WorkRequest, on_delete=models.PROTECT, related_name="messages", db_index=False
    )
    side = models.CharField(max_length=10, choices=Side.choices)
    text = models.CharField(max_length=1000)
    occurred_at = models.DateTimeField()
    actor = models.CharField(max_length=200)

    class Meta:
        indexes = [models.Index(fields=["request", "id"], name="message_by_request")]

    def __str__(self) -> str:
        return self.text
