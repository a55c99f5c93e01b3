"""A job: one vehicle's visit, from the dealer's work order to collection."""

from django.db import models
from django.db.models import F, Q

from accounts.models import Organisation
from core.ids import new_id
from jobs.work.calc.car.fuels import FUEL_CHOICES
from jobs.work.calc.stages.machine import Decision, Stage, State

# The conditions of partial indexes: what a workshop and a dealer look at all day.
OPEN = Q(is_open=True)
CANCELLED_HERE = Q(cancelled_at__isnull=False, arrived_at__isnull=False, collected_at__isnull=True)


class Job(models.Model):
    """The work order as it stands now and where the car is; HistoryEntry has how it came to be."""

    class Purpose(models.TextChoices):
        RETAIL = "retail", "retail prep"
        AUCTION = "auction", "auction prep"
        TRADE = "trade", "trade"

    class BodySize(models.TextChoices):
        SMALL = "small", "small car"
        MEDIUM = "medium", "medium car"
        LARGE = "large", "large car"
        SMALL_VAN = "small_van", "small van"
        LARGE_VAN = "large_van", "large van"

    class MileageUnit(models.TextChoices):
        MILES = "miles", "miles"
        KILOMETRES = "km", "kilometres"

    id = models.UUIDField(primary_key=True, default=new_id, editable=False)
    dealer = models.ForeignKey(
        Organisation, on_delete=models.PROTECT, related_name="dealer_jobs", db_index=False
    )
    workshop = models.ForeignKey(
        Organisation, on_delete=models.PROTECT, related_name="workshop_jobs", db_index=False
    )

    # Where it is.
    decision = models.CharField(
        max_length=10,
        choices=[(decision.value, decision.value) for decision in Decision],
        default=Decision.AWAITED.value,
    )
    stage = models.CharField(
        max_length=10,
        choices=[(stage.value, stage.value) for stage in Stage],
        default=Stage.INTAKE.value,
    )
    version = models.PositiveIntegerField(default=0)
    history_count = models.PositiveIntegerField(default=0)
    open_holds = models.PositiveSmallIntegerField(default=0)
    rework_count = models.PositiveSmallIntegerField(default=0)
    # A finding keeps it off the road, whether or not anybody has acknowledged it.
    do_not_drive = models.BooleanField(default=False, db_default=False)
    is_open = models.BooleanField(default=True)
    arrived_at = models.DateTimeField(null=True)
    ready_at = models.DateTimeField(null=True)
    collected_at = models.DateTimeField(null=True)
    cancelled_at = models.DateTimeField(null=True)
    # The dealer's ready_version at which this car became ready; empty while it is not.
    ready_number = models.PositiveBigIntegerField(null=True)
    # Until when everything on it cures or dries, as the dealer was last told; empty: was not told.
    waits_told = models.DateTimeField(null=True)
    soiling = models.PositiveSmallIntegerField(
        null=True, help_text="How dirty it came in, from 1 to 5; empty: nobody said."
    )

    # What was ordered.
    dealer_ref = models.CharField(max_length=60, blank=True)
    registration = models.CharField(max_length=16, blank=True)
    registration_key = models.CharField(max_length=16, blank=True)
    vin = models.CharField(max_length=17, blank=True)
    make = models.CharField(max_length=60, blank=True)
    model = models.CharField(max_length=80, blank=True)
    colour = models.CharField(max_length=40, blank=True)
    first_registered = models.DateField(null=True)
    mileage = models.PositiveIntegerField(null=True)
    mileage_unit = models.CharField(max_length=5, choices=MileageUnit.choices, blank=True)
    body_size = models.CharField(max_length=10, choices=BodySize.choices, blank=True)
    fuel = models.CharField(
        max_length=10,
        choices=FUEL_CHOICES,
        blank=True,
        default="",
        db_default="",
        help_text="What it runs on, as the order says or as it was booked in; empty: not known.",
    )
    purpose = models.CharField(max_length=10, choices=Purpose.choices, default=Purpose.RETAIL)
    operations = models.JSONField(default=list, help_text="Operation and package codes wanted.")
    due_at = models.DateTimeField(null=True)
    cap_minutes = models.PositiveIntegerField(null=True)
    cap_amount = models.DecimalField(max_digits=10, decimal_places=2, null=True)
    cap_currency = models.CharField(max_length=3, blank=True)
    location = models.CharField(max_length=120, blank=True)
    keys = models.CharField(max_length=120, blank=True)
    supplied = models.JSONField(default=list, help_text="Parts or paint the dealer supplies.")
    contact_name = models.CharField(max_length=80, blank=True)
    contact_phone = models.CharField(max_length=40, blank=True)
    contact_email = models.EmailField(blank=True)
    notes = models.TextField(blank=True)
    remarks = models.JSONField(default=list, help_text="What is doubtful about the order.")

    received_at = models.DateTimeField()
    updated_at = models.DateTimeField()

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["dealer", "dealer_ref"],
                condition=Q(is_open=True) & ~Q(dealer_ref=""),
                name="job_open_ref_once",
            ),
            models.UniqueConstraint(
                fields=["dealer", "registration_key"],
                condition=Q(is_open=True) & ~Q(registration_key=""),
                name="job_open_registration_once",
            ),
            models.UniqueConstraint(
                fields=["dealer", "vin"],
                condition=Q(is_open=True) & ~Q(vin=""),
                name="job_open_vin_once",
            ),
            models.CheckConstraint(
                condition=~Q(registration_key="") | ~Q(vin=""), name="job_vehicle_named"
            ),
            models.CheckConstraint(
                condition=Q(ready_number__isnull=True) | Q(stage=Stage.READY.value),
                name="job_ready_number_when_ready",
            ),
        ]
        indexes = [
            models.Index(
                F("dealer"),
                F("ready_number").desc(),
                condition=Q(ready_number__isnull=False),
                name="job_ready",
            ),
            models.Index(fields=["dealer", "-id"], name="job_by_dealer"),
            models.Index(fields=["workshop", "-id"], name="job_by_workshop"),
            models.Index(fields=["registration_key"], name="job_by_registration"),
            # What is open, and what stands here though cancelled: few of all there ever were.
            models.Index(fields=["dealer"], condition=OPEN, name="job_open_by_dealer"),
            models.Index(fields=["workshop"], condition=OPEN, name="job_open_by_workshop"),
            models.Index(fields=["dealer"], condition=CANCELLED_HERE, name="job_left_by_dealer"),
            models.Index(
                fields=["workshop"], condition=CANCELLED_HERE, name="job_left_by_workshop"
            ),
            # What changed lately.
            models.Index(fields=["dealer", "updated_at"], name="job_changed_by_dealer"),
            models.Index(fields=["workshop", "updated_at"], name="job_changed_by_workshop"),
            models.Index(
                fields=["updated_at"],
                condition=Q(ready_at__isnull=False),
                name="job_ready_changed",
            ),
            models.Index(
                fields=["dealer_ref"], condition=~Q(dealer_ref=""), name="job_by_dealer_ref"
            ),
        ]

    def __str__(self) -> str:
        return self.registration or self.vin

    @property
    def state(self) -> State:
        """Return what the stage machine looks at."""
        return State(
            stage=Stage(self.stage),
            decision=Decision(self.decision),
            arrived=self.arrived_at is not None,
            collected=self.collected_at is not None,
            cancelled=self.cancelled_at is not None,
            holds=self.open_holds,
            rework=self.rework_count,
            version=self.version,
        )
