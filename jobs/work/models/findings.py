"""What was found on a car: findings, belongings, and the workshop's phrases for them."""

from django.db import models
from django.db.models import Q

from accounts.models import Organisation
from core.ids import new_id
from jobs.work.calc.findings import FindingKind, Over, Weight, keeps_off_the_road
from jobs.work.models.holds import Hold
from jobs.work.models.jobs.job import Job
from jobs.work.models.jobs.noted import Noted
from jobs.work.models.photographs import Photo


class Finding(Noted):
    """Something the valeter saw or heard that the dealer should know; never a diagnosis."""

    id = models.UUIDField(primary_key=True, default=new_id, editable=False)
    job = models.ForeignKey(Job, on_delete=models.PROTECT, related_name="findings", db_index=False)
    kind = models.CharField(
        max_length=20, choices=[(kind.value, kind.value) for kind in FindingKind]
    )
    weight = models.CharField(
        max_length=20, choices=[(weight.value, weight.value) for weight in Weight]
    )
    area = models.CharField(max_length=30)
    noticed = models.CharField(max_length=500, help_text="What was seen or heard.")
    circumstance = models.CharField(max_length=200, blank=True)
    advice = models.CharField(max_length=500, blank=True)
    from_paint_survey = models.BooleanField(default=False)
    photos = models.ManyToManyField(Photo, related_name="findings")
    # The hold that a "do not drive" brings about; it ends when the finding is over.
    hold = models.OneToOneField(Hold, on_delete=models.PROTECT, null=True, related_name="finding")
    acknowledged_at = models.DateTimeField(null=True)
    acknowledged_by = models.CharField(max_length=200, blank=True)
    acknowledged_side = models.CharField(max_length=10, blank=True)
    # Where the workshop told the dealer by telephone: whom, and how.
    acknowledged_told = models.CharField(max_length=200, blank=True)
    acknowledged_note = models.CharField(max_length=500, blank=True)
    # The address beside all endpoints that a "do not drive" was told to.
    told_to = models.EmailField(blank=True, db_default="")
    # How a "do not drive" came to its end: by whom and when it was repaired, will be transported
    # or was withdrawn, and who of which side recorded that.
    over_how = models.CharField(
        max_length=12,
        blank=True,
        db_default="",
        choices=[(over.value, over.value) for over in Over],
    )
    over_by = models.CharField(max_length=200, blank=True, db_default="")
    over_at = models.DateTimeField(null=True)
    over_reason = models.CharField(max_length=500, blank=True, db_default="")
    over_recorded_by = models.CharField(max_length=200, blank=True, db_default="")
    over_side = models.CharField(max_length=10, blank=True, db_default="")

    class Meta:
        indexes = [models.Index(fields=["job", "id"], name="finding_by_job")]
        constraints = [
            models.CheckConstraint(
                condition=Q(over_how="", over_at__isnull=True)
                | Q(~Q(over_by=""), over_at__isnull=False, weight=Weight.DO_NOT_DRIVE.value),
                name="finding_over_by_somebody",
            ),
            models.CheckConstraint(
                condition=Q(acknowledged_at__isnull=True) | ~Q(acknowledged_by=""),
                name="finding_acknowledged_by_somebody",
            ),
        ]

    def __str__(self) -> str:
        return self.noticed

    @property
    def must_not_be_driven(self) -> bool:
        """Return whether it keeps the car off the road."""
        return keeps_off_the_road(self.weight, self.over_how)


class Belonging(models.Model):
    """What a finding of the kind belongings is about, where it is kept, and who took it back."""

    class What(models.TextChoices):
        ITEM = "item", "an item"
        DOCUMENT = "document", "a document"
        PAIRED_PHONE = "paired_phone", "a paired phone"
        SAVED_DESTINATIONS = "saved_destinations", "saved destinations"
        OTHER_DATA = "other_data", "other personal data"

    # Things are kept and signed back; the rest is data in the car, which is wiped or left.
    THINGS = frozenset({What.ITEM, What.DOCUMENT})

    id = models.UUIDField(primary_key=True, default=new_id, editable=False)
    finding = models.OneToOneField(Finding, on_delete=models.PROTECT, related_name="belonging")
    what = models.CharField(max_length=20, choices=What.choices)
    kept_at = models.CharField(max_length=120, blank=True, help_text="The place it is kept.")
    # For personal data in the car: wiped, left as it is, or not known yet.
    wiped = models.BooleanField(null=True)
    wiped_at = models.DateTimeField(null=True)
    returned_at = models.DateTimeField(null=True)
    returned_to = models.CharField(max_length=120, blank=True, help_text="Who signed for it.")
    returned_by = models.CharField(max_length=200, blank=True)

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=Q(returned_at__isnull=True) | ~Q(returned_to=""),
                name="belonging_returned_to_somebody",
            )
        ]

    def __str__(self) -> str:
        return f"{self.what} at {self.kept_at}"

    @property
    def is_thing(self) -> bool:
        """Return whether it can be handed back; personal data can only be wiped."""
        return self.what in self.THINGS


class Phrase(models.Model):
    """A workshop's own ready phrase, or its wording of a standard one (the same code)."""

    id = models.UUIDField(primary_key=True, default=new_id, editable=False)
    workshop = models.ForeignKey(
        Organisation, on_delete=models.PROTECT, related_name="+", db_index=False
    )
    code = models.CharField(max_length=40)
    group = models.CharField(max_length=40)
    kind = models.CharField(
        max_length=20, choices=[(kind.value, kind.value) for kind in FindingKind]
    )
    weight = models.CharField(
        max_length=20, choices=[(weight.value, weight.value) for weight in Weight]
    )
    noticed = models.CharField(max_length=500)
    circumstance = models.CharField(max_length=200, blank=True)
    advice = models.CharField(max_length=500, blank=True)
    hidden = models.BooleanField(default=False)
    updated_at = models.DateTimeField()

    class Meta:
        constraints = [models.UniqueConstraint(fields=["workshop", "code"], name="phrase_once")]

    def __str__(self) -> str:
        return self.noticed
