"""The clocks of what cures or dries, and touch tests of it."""

from datetime import datetime

from django.db import models
from django.db.models import Q

from core.ids import new_id
from jobs.work.models.jobs.job import Job
from jobs.work.models.jobs.noted import Noted
from jobs.work.models.tasks import Task


class WaitClock(models.Model):
    """Something on the car that cures, dries or flashes off until a time; the last decides.

    One that is halted has no end: it runs on until it is cured or felt, or the car is let pass.

    How long it takes at its reference is copied, so that the end can be worked out again whenever
    readings of the air come in. A clock with `touch_test` runs until a person has felt that it is
    dry, however early or late that is; the sums only advise.
    """

    class Kind(models.TextChoices):
        CURE = "cure", "curing"
        DRYING = "drying", "drying"
        FLASH_OFF = "flash_off", "flashing off"

    class Basis(models.TextChoices):
        FIXED = "fixed", "the minutes set, whatever the air"
        NOT_MEASURED = "not_measured", "nobody measured the air: the minutes set are the latest"
        MEASURED = "measured", "the air that was measured"
        GAPS = "gaps", "the air that was measured, with room for when it was not"

    class Halted(models.TextChoices):
        NO = "", "goes on"
        TOO_COLD = "too_cold", "stands still: it is too cold"
        TOO_DAMP = "too_damp", "stands still: the air takes up no more water"

        def words(self, *, surely: bool) -> str:
            """Return that it stands still, or that it may; nothing where it goes on.

            `surely`: not even by the warmest that it can be does it go on.
            """
            if self is WaitClock.Halted.NO:
                return ""
            return str(self.label) if surely else _MAY_HALT[self.value]

    id = models.UUIDField(primary_key=True, default=new_id, editable=False)
    job = models.ForeignKey(Job, on_delete=models.PROTECT, related_name="clocks", db_index=False)
    task = models.ForeignKey(Task, on_delete=models.PROTECT, related_name="clocks")
    kind = models.CharField(max_length=10, choices=Kind.choices)
    started_at = models.DateTimeField()
    # At the reference; empty where the end is fixed, as for clocks from before there were any.
    reference_minutes = models.PositiveIntegerField(null=True)
    reference_celsius = models.FloatField(default=15.0)
    q10 = models.FloatField(default=2.0)
    lowest_celsius = models.FloatField(default=5.0)
    highest_celsius = models.FloatField(null=True, help_text="No credit above; empty: ours.")
    air = models.CharField(max_length=10, blank=True, help_text="Movement of the air over it.")

    earliest_at = models.DateTimeField(
        null=True, help_text="Not done before this, by what was measured so far."
    )
    ends_at = models.DateTimeField(
        null=True, help_text="Done by then. Empty: it is halted, and nobody can say when."
    )
    basis = models.CharField(max_length=12, choices=Basis.choices, default=Basis.FIXED)
    halted = models.CharField(max_length=10, choices=Halted.choices, blank=True)
    progress_percent = models.PositiveSmallIntegerField(
        default=0, help_text="Done at least so far, when last worked out."
    )
    worked_out_at = models.DateTimeField(null=True)
    # What was done by the instant of a reading of weeks ago: nobody reads further back than that.
    summed_at = models.DateTimeField(null=True)
    summed_least = models.FloatField(
        default=0.0, db_default=0.0, help_text="Minutes at the reference."
    )
    summed_most = models.FloatField(default=0.0, db_default=0.0)
    summed_width = models.PositiveIntegerField(
        null=True, help_text="Seconds: no reading since makes the interval wider than this."
    )
    touch_test = models.BooleanField(default=False, help_text="Somebody has to feel it.")
    closed_at = models.DateTimeField(null=True, help_text="When somebody found it dry.")
    settled_at = models.DateTimeField(null=True, help_text="When its end was written down.")

    class Meta:
        indexes = [
            models.Index(fields=["job", "ends_at"], name="clock_by_job"),
            models.Index(
                fields=["ends_at"],
                condition=Q(settled_at__isnull=True),
                name="clock_to_settle",
            ),
        ]
        constraints = [
            models.CheckConstraint(
                condition=(Q(halted="") & Q(ends_at__isnull=False))
                | (~Q(halted="") & Q(ends_at__isnull=True)),
                name="clock_halted_has_no_end",
            )
        ]

    def __str__(self) -> str:
        return f"{self.kind} until {self.ends_at or 'nobody knows when'}"

    @property
    def surely_halted(self) -> bool:
        """Return whether it stands still for certain, not only by the coldest that it may be."""
        return bool(self.halted) and self.earliest_at is None

    @property
    def over_at(self) -> datetime | None:
        """Return when it is over, or was; None while nobody can say."""
        return self.closed_at or self.ends_at

    def has_ended(self, at: datetime) -> bool:
        """Return whether its time is up at an instant, felt or not; what is halted has none."""
        return self.ends_at is not None and self.ends_at <= at

    @property
    def halted_words(self) -> str:
        """Return in words that it stands still, or that it may; nothing where it goes on."""
        return self.Halted(self.halted).words(surely=self.surely_halted)


_MAY_HALT = {
    WaitClock.Halted.TOO_COLD.value: "may come to stand still: it may get too cold",
    WaitClock.Halted.TOO_DAMP.value: ("may come to stand still: the air may take up no more water"),
}


class TouchTest(Noted):
    """Somebody felt whether it is dry; damp gives the clock more time and asks again."""

    id = models.UUIDField(primary_key=True, default=new_id, editable=False)
    clock = models.ForeignKey(WaitClock, on_delete=models.PROTECT, related_name="touch_tests")
    dry = models.BooleanField()
    note = models.CharField(max_length=300, blank=True)

    def __str__(self) -> str:
        return "dry" if self.dry else "still damp"
