"""The air in a workshop and outside: readings, the last good forecast, how both are dealt with."""

from django.db import models
from django.db.models import Q

from accounts.models import Organisation
from core.ids import new_id


class Place(models.TextChoices):
    """Where something was measured."""

    WORKSHOP = "workshop", "in the workshop"
    OUTSIDE = "outside", "outside"


class ClimateReading(models.Model):
    """Temperature and humidity at one place and time; what is doubtful is marked, not dropped."""

    class Mark(models.TextChoices):
        NONE = "", "as measured"
        LATE = "late", "came after later ones"
        STUCK = "stuck", "the sensor repeats one value"

    id = models.UUIDField(primary_key=True, default=new_id, editable=False)
    workshop = models.ForeignKey(
        Organisation, on_delete=models.PROTECT, related_name="+", db_index=False
    )
    place = models.CharField(max_length=10, choices=Place.choices)
    sensor = models.CharField(
        max_length=40, blank=True, help_text="Which one, where there are several; empty: a person."
    )
    at = models.DateTimeField(help_text="When it was measured.")
    celsius = models.FloatField()
    humidity_percent = models.FloatField(null=True)
    surface_celsius = models.FloatField(null=True, help_text="Of a panel, where it was measured.")
    mark = models.CharField(max_length=10, choices=Mark.choices, blank=True)
    recorded_at = models.DateTimeField()
    actor = models.CharField(max_length=200)

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["workshop", "place", "at", "sensor"], name="climate_reading_once"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.celsius} °C {self.place} at {self.at}"

    @property
    def is_stuck(self) -> bool:
        """Return whether a sensor that repeats itself said it."""
        return self.mark == ClimateReading.Mark.STUCK


class Forecast(models.Model):
    """The last good forecast for outside a workshop; a bad one never takes its place."""

    class Way(models.TextChoices):
        POSTED = "posted", "sent here"
        PULLED = "pulled", "fetched"

    workshop = models.OneToOneField(
        Organisation, on_delete=models.PROTECT, primary_key=True, related_name="+"
    )
    way = models.CharField(max_length=10, choices=Way.choices)
    issued_at = models.DateTimeField()
    received_at = models.DateTimeField()
    hours = models.JSONField(
        default=list,
        help_text="Each with at, celsius, humidity_percent and rain_chance_percent.",
    )

    def __str__(self) -> str:
        return f"forecast of {self.issued_at}"


class ClimateSetup(models.Model):
    """What a workshop chose about the air, and how fetching its forecast goes."""

    class Air(models.TextChoices):
        STILL = "still", "still air"
        FAN = "fan", "a fan on it"
        BLOWER = "blower", "a drying blower"

    workshop = models.OneToOneField(
        Organisation, on_delete=models.PROTECT, primary_key=True, related_name="+"
    )
    ready_by_itself = models.BooleanField(
        default=False,
        help_text="A car in curing becomes ready when its last clock ends and nothing is open.",
    )
    air = models.CharField(max_length=10, choices=Air.choices, default=Air.STILL)
    forecast_url = models.CharField(max_length=500, blank=True)
    forecast_next_at = models.DateTimeField(null=True, help_text="When it is fetched next.")
    forecast_tried_at = models.DateTimeField(null=True)
    forecast_problem = models.CharField(
        max_length=300, blank=True, help_text="Why the last try brought nothing; empty: it did."
    )
    # Readings came in that clocks have not been worked out with yet; the sweep finds it.
    clocks_due = models.BooleanField(default=False)

    class Meta:
        indexes = [
            models.Index(
                fields=["forecast_next_at"],
                condition=~Q(forecast_url=""),
                name="climate_forecast_due",
            ),
            models.Index(
                fields=["workshop"], condition=Q(clocks_due=True), name="climate_clocks_due"
            ),
        ]

    def __str__(self) -> str:
        return f"the air at {self.workshop_id}"
