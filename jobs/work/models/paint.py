"""What was measured, tried and looked for on the paint, and the machine passes that were done."""

from django.db import models
from django.db.models import Q

from core.ids import new_id
from jobs.work.models.jobs.job import Job
from jobs.work.models.jobs.noted import Noted


class CanBeSetAside(Noted):
    """A note that is set aside with a reason where it was wrong; it is never deleted."""

    set_aside_at = models.DateTimeField(null=True)
    set_aside_reason = models.CharField(max_length=200, blank=True)

    class Meta:
        abstract = True


class SpotReading(CanBeSetAside):
    """Film thickness at one place: the mean of three readings or more; plastic gives none."""

    class Material(models.TextChoices):
        STEEL = "steel", "steel"
        ALUMINIUM = "aluminium", "aluminium"
        PLASTIC = "plastic", "plastic (gives no reading)"

    id = models.UUIDField(primary_key=True, default=new_id, editable=False)
    job = models.ForeignKey(
        Job, on_delete=models.PROTECT, related_name="spot_readings", db_index=False
    )
    panel = models.CharField(max_length=30)
    material = models.CharField(max_length=10, choices=Material.choices)
    readings = models.JSONField(default=list, help_text="Single readings in microns.")
    microns = models.FloatField(null=True, help_text="Their mean.")
    note = models.CharField(max_length=200, blank=True)

    class Meta:
        indexes = [models.Index(fields=["job", "id"], name="spot_reading_by_job")]
        constraints = [
            models.CheckConstraint(
                condition=Q(material="plastic", microns__isnull=True)
                | (~Q(material="plastic") & Q(microns__isnull=False)),
                name="spot_reading_not_on_plastic",
            )
        ]

    def __str__(self) -> str:
        return f"{self.panel} {self.microns} µm"


class PaintTest(CanBeSetAside):
    """A rub with a pad or cloth, a look and a wetting: they tell the system and what polish does.

    `faded` came before `look` and says the same as the look "faded"; rows without a look have it.
    """

    class PadColour(models.TextChoices):
        PAINT = "paint", "the paint's own colour"
        WHITE = "white", "white, grey or none"
        UNSURE = "unsure", "not sure"
        NOTHING = "nothing", "nothing of the paint"

    class RubbedWith(models.TextChoices):
        WHITE_PAD = "white_pad", "a white pad"
        DARK_CLOTH = "dark_cloth", "a dark cloth"

    class Look(models.TextChoices):
        SOUND = "sound", "sound"
        DULL = "dull", "dull"
        FADED = "faded", "faded"
        PEELING = "peeling", "peeling"

    id = models.UUIDField(primary_key=True, default=new_id, editable=False)
    job = models.ForeignKey(
        Job, on_delete=models.PROTECT, related_name="paint_tests", db_index=False
    )
    panel = models.CharField(max_length=30)
    pad_colour = models.CharField(max_length=10, choices=PadColour.choices)
    rubbed_with = models.CharField(
        max_length=10,
        choices=RubbedWith.choices,
        default=RubbedWith.WHITE_PAD,
        db_default=RubbedWith.WHITE_PAD.value,
    )
    white_paint = models.BooleanField(null=True, help_text="White or nearly so; null: not said.")
    look = models.CharField(max_length=10, choices=Look.choices, blank=True, db_default="")
    faded = models.BooleanField(default=False)
    darkens_when_wet = models.BooleanField(null=True)
    note = models.CharField(max_length=200, blank=True)

    class Meta:
        indexes = [models.Index(fields=["job", "id"], name="paint_test_by_job")]

    def __str__(self) -> str:
        return f"{self.panel} {self.pad_colour}"


class FilmCheck(Noted):
    """Whether a film or wrap lies on a panel or on the whole car; the latest answer counts."""

    class Answer(models.TextChoices):
        YES = "yes", "film or wrap on it"
        NO = "no", "no film or wrap"
        NOT_ASKED = "not_asked", "not asked"

    id = models.UUIDField(primary_key=True, default=new_id, editable=False)
    job = models.ForeignKey(
        Job, on_delete=models.PROTECT, related_name="film_checks", db_index=False
    )
    panel = models.CharField(max_length=30, help_text="A body panel, or whole_vehicle.")
    film = models.CharField(max_length=10, choices=Answer.choices)
    note = models.CharField(max_length=200, blank=True)

    class Meta:
        indexes = [models.Index(fields=["job", "id"], name="film_check_by_job")]

    def __str__(self) -> str:
        return f"{self.panel} {self.film}"


class PassesDone(CanBeSetAside):
    """Machine passes done on one panel; the allowance goes down by them."""

    class Kind(models.TextChoices):
        CUT = "cut", "cutting"
        FINISH = "finish", "finishing"

    id = models.UUIDField(primary_key=True, default=new_id, editable=False)
    job = models.ForeignKey(
        Job, on_delete=models.PROTECT, related_name="passes_done", db_index=False
    )
    panel = models.CharField(max_length=30)
    kind = models.CharField(max_length=10, choices=Kind.choices)
    passes = models.PositiveSmallIntegerField()
    # What was said when the film did not allow it, and why it was done all the same.
    warning = models.CharField(max_length=300, blank=True)
    reason = models.CharField(max_length=500, blank=True)

    class Meta:
        indexes = [models.Index(fields=["job", "id"], name="passes_done_by_job")]

    def __str__(self) -> str:
        return f"{self.passes} x {self.kind} on {self.panel}"
