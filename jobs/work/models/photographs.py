"""Photographs of a job, and what is stored of each."""

from django.db import models

from core.ids import new_id
from jobs.work.models.jobs.job import Job

SIZES = (320, 1280)  # the longest sides, in pixels, that are kept of each photograph


class Photo(models.Model):
    """One picture: as uploaded, or a before and an after put side by side.

    Only its renditions are stored; they hold pixels and nothing else.
    """

    class Moment(models.TextChoices):
        BEFORE = "before", "before the work"
        AFTER = "after", "after the work"
        DETAIL = "detail", "a detail"
        PAIR = "pair", "before and after, side by side"

    id = models.UUIDField(primary_key=True, default=new_id, editable=False)
    job = models.ForeignKey(Job, on_delete=models.PROTECT, related_name="photos", db_index=False)
    # Made by the device, so that an upload sent twice is one photograph.
    client_id: "models.UUIDField" = models.UUIDField()  # type: ignore[type-arg]
    moment = models.CharField(max_length=10, choices=Moment.choices)
    view = models.CharField(max_length=30, blank=True, help_text="Where it was taken from.")
    area = models.CharField(max_length=30, blank=True, help_text="What of the vehicle it shows.")
    caption = models.CharField(max_length=200, blank=True)
    before = models.ForeignKey("self", on_delete=models.PROTECT, null=True, related_name="+")
    after = models.ForeignKey("self", on_delete=models.PROTECT, null=True, related_name="+")
    format = models.CharField(max_length=10, help_text="What the upload was: JPEG, PNG …")
    sha256 = models.CharField(max_length=64, help_text="Of the bytes uploaded.")
    width = models.PositiveIntegerField(help_text="Pixels, upright.")
    height = models.PositiveIntegerField(help_text="Pixels, upright.")
    taken_at = models.DateTimeField()
    recorded_at = models.DateTimeField()
    actor = models.CharField(max_length=200)
    actor_person_id: "models.UUIDField" = models.UUIDField(null=True)  # type: ignore[type-arg]

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["job", "client_id"], name="photo_client_id_once")
        ]

    def __str__(self) -> str:
        return f"{self.moment} {self.view or self.area}"


class Rendition(models.Model):
    """One stored size of a photograph; the file is found under `name` in the photo store."""

    id = models.UUIDField(primary_key=True, default=new_id, editable=False)
    photo = models.ForeignKey(
        Photo, on_delete=models.PROTECT, related_name="renditions", db_index=False
    )
    size = models.PositiveSmallIntegerField(help_text="The longest side at most, in pixels.")
    name = models.CharField(max_length=200)
    sha256 = models.CharField(max_length=64)
    length = models.PositiveIntegerField(help_text="Bytes.")
    width = models.PositiveIntegerField()
    height = models.PositiveIntegerField()

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["photo", "size"], name="rendition_size_once")
        ]

    def __str__(self) -> str:
        return self.name
