"""What a workshop sees of its air."""

from typing import Any

from rest_framework import serializers

from core.api.serializers import OutputModelSerializer, ZonedDateTimeField
from jobs.work.calc.air.climate import Frost
from jobs.work.models import ClimateReading, ClimateSetup, Forecast, Place
from jobs.work.services.air.readings import Outcome

OUTCOMES = [(outcome.value, outcome.value) for outcome in Outcome]
FORECAST_OUTCOMES = [
    (one.value, one.value) for one in (Outcome.TAKEN, Outcome.KNOWN, Outcome.REFUSED)
]
FROSTS = [(frost.value, frost.value) for frost in Frost]


class ReadingOutput(OutputModelSerializer):
    """One reading; `mark_words` says in words what is doubtful about it."""

    mark_words = serializers.SerializerMethodField()

    class Meta:
        model = ClimateReading
        fields = (
            "id",
            "place",
            "sensor",
            "at",
            "celsius",
            "humidity_percent",
            "surface_celsius",
            "mark",
            "mark_words",
            "recorded_at",
            "actor",
        )

    def get_mark_words(self, one: ClimateReading) -> str:
        """Return the mark in words."""
        return ClimateReading.Mark(one.mark).label if one.mark else ""


class FieldErrorOutput(serializers.Serializer[Any]):
    """One wrong field of one reading or of the forecast."""

    field = serializers.CharField()
    message = serializers.CharField()


class ReadingTakenOutput(serializers.Serializer[Any]):
    """What became of one reading; `code` and `message` say why it was marked or refused."""

    line = serializers.IntegerField(help_text="From 1, as sent.")
    outcome = serializers.ChoiceField(OUTCOMES)
    code = serializers.CharField(allow_blank=True)
    message = serializers.CharField(allow_blank=True)
    # A field like any other: the metaclass takes it off the class.
    errors = FieldErrorOutput(many=True)  # type: ignore[assignment]
    reading = ReadingOutput(allow_null=True, help_text="As it stands; null where refused.")


class ForecastTakenOutput(serializers.Serializer[Any]):
    """What became of a forecast; known: it, or a newer one, stood already."""

    outcome = serializers.ChoiceField(FORECAST_OUTCOMES)
    code = serializers.CharField(allow_blank=True)
    message = serializers.CharField(allow_blank=True)
    # A field like any other: the metaclass takes it off the class.
    errors = FieldErrorOutput(many=True)  # type: ignore[assignment]
    issued_at = ZonedDateTimeField(allow_null=True, help_text="Of the one that stands now.")


class ClimateTakenOutput(serializers.Serializer[Any]):
    """How many readings met which fate, and each in turn."""

    taken = serializers.IntegerField()
    marked = serializers.IntegerField(help_text="Taken as well, but doubtful.")
    known = serializers.IntegerField(help_text="Exact duplicates: nothing was changed.")
    refused = serializers.IntegerField()
    readings = ReadingTakenOutput(many=True)
    forecast = ForecastTakenOutput(allow_null=True)


class LatestOutput(serializers.Serializer[Any]):
    """The last word of the air at a place, and what follows from it.

    The newest reading; one of a stuck sensor, which its mark says, where no other is of the last
    two hours.
    """

    place = serializers.ChoiceField(Place.choices)
    age_minutes = serializers.IntegerField()
    reading = ReadingOutput()
    dew_point_celsius = serializers.FloatField(allow_null=True)
    surface_margin_kelvin = serializers.FloatField(
        allow_null=True, help_text="Of a surface as warm as measured, else as the air."
    )
    vapour_pressure_deficit_pascals = serializers.FloatField(allow_null=True)
    frost_risk = serializers.ChoiceField(FROSTS)


class SensorOutput(serializers.Serializer[Any]):
    """One sensor in the time looked at; an empty name stands for people."""

    place = serializers.ChoiceField(Place.choices)
    sensor = serializers.CharField(allow_blank=True)
    last_at = ZonedDateTimeField()
    readings = serializers.IntegerField()
    stuck = serializers.IntegerField(
        help_text="How many of them count as not measured, but for their cold and damp."
    )


class ForecastHourOutput(serializers.Serializer[Any]):
    """What the weather will be in the hour that begins at `at`."""

    at = ZonedDateTimeField()
    celsius = serializers.FloatField()
    humidity_percent = serializers.FloatField(allow_null=True)
    rain_chance_percent = serializers.FloatField(allow_null=True)


class ForecastOutput(serializers.Serializer[Any]):
    """The last good forecast."""

    way = serializers.ChoiceField(Forecast.Way.choices)
    issued_at = ZonedDateTimeField()
    received_at = ZonedDateTimeField()
    age_minutes = serializers.IntegerField(help_text="Since it was issued.")
    stale = serializers.BooleanField(help_text="Older than 12 hours.")
    hours = ForecastHourOutput(many=True)


class FetchingOutput(serializers.Serializer[Any]):
    """How fetching the forecast goes, where a URL is set."""

    on = serializers.BooleanField()
    tried_at = ZonedDateTimeField(allow_null=True)
    next_at = ZonedDateTimeField(allow_null=True)
    problem = serializers.CharField(
        allow_blank=True, help_text="Why the last try brought nothing; empty: it did."
    )


class ClimateOutput(serializers.Serializer[Any]):
    """The air of the workshop."""

    latest = LatestOutput(many=True)
    hours = serializers.IntegerField(help_text="How far back `readings` and `sensors` go.")
    readings = ReadingOutput(many=True)
    more = serializers.BooleanField(help_text="True: only the newest are shown.")
    sensors = SensorOutput(many=True)
    forecast = ForecastOutput(allow_null=True)
    fetching = FetchingOutput()


class ClimateSetupOutput(OutputModelSerializer):
    """What the workshop chose, and how fetching its forecast goes."""

    class Meta:
        model = ClimateSetup
        fields = (
            "ready_by_itself",
            "air",
            "forecast_url",
            "forecast_tried_at",
            "forecast_next_at",
            "forecast_problem",
        )
