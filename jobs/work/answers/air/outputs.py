"""What a workshop sees of its air."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Annotated

from rest_framework import serializers

from core.api.answers import Answer, Row, Rows, serializer_of
from core.api.serializers import OutputModelSerializer
from core.problems import FieldError
from jobs.work.calc.air.climate import Frost
from jobs.work.models import ClimateReading, ClimateSetup, Forecast, Place
from jobs.work.services.air.readings import Outcome

OUTCOMES = [(outcome.value, outcome.value) for outcome in Outcome]
FORECAST_OUTCOMES = [
    (outcome.value, outcome.value) for outcome in (Outcome.TAKEN, Outcome.KNOWN, Outcome.REFUSED)
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

    def get_mark_words(self, reading: ClimateReading) -> str:
        """Return the mark in words."""
        return ClimateReading.Mark(reading.mark).label if reading.mark else ""


@dataclass(frozen=True, slots=True, kw_only=True)
class FieldErrorOutput(Answer):
    """One wrong field of one reading or of the forecast."""

    field: str
    message: str


@dataclass(frozen=True, slots=True, kw_only=True)
class ReadingTakenOutput(Answer):
    """What became of one reading; `code` and `message` say why it was marked or refused."""

    line: Annotated[int, "From 1, as sent."]
    outcome: Annotated[str, serializers.ChoiceField(OUTCOMES)]
    code: str
    message: str
    errors: Annotated[Sequence[FieldError], serializer_of(FieldErrorOutput)(many=True)]
    reading: Annotated[
        Row | None, ReadingOutput(allow_null=True, help_text="As it stands; null where refused.")
    ]


@dataclass(frozen=True, slots=True, kw_only=True)
class ForecastTakenOutput(Answer):
    """What became of a forecast; known: it, or a newer one, stood already."""

    outcome: Annotated[str, serializers.ChoiceField(FORECAST_OUTCOMES)]
    code: str
    message: str
    errors: Annotated[Sequence[FieldError], serializer_of(FieldErrorOutput)(many=True)]
    issued_at: Annotated[datetime | None, "Of the one that stands now."]


@dataclass(frozen=True, slots=True, kw_only=True)
class ClimateTakenOutput(Answer):
    """How many readings met which fate, and each in turn."""

    taken: int
    marked: Annotated[int, "Taken as well, but doubtful."]
    known: Annotated[int, "Exact duplicates: nothing was changed."]
    refused: int
    readings: Sequence[ReadingTakenOutput]
    forecast: ForecastTakenOutput | None


@dataclass(frozen=True, slots=True, kw_only=True)
class LatestOutput(Answer):
    """The last word of the air at a place, and what follows from it.

    The newest reading; one of a stuck sensor, which its mark says, where no other is of the last
    two hours.
    """

    place: Annotated[str, serializers.ChoiceField(Place.choices)]
    age_minutes: int
    reading: Annotated[Row, ReadingOutput()]
    dew_point_celsius: float | None
    surface_margin_kelvin: Annotated[
        float | None, "Of a surface as warm as measured, else as the air."
    ]
    vapour_pressure_deficit_pascals: float | None
    frost_risk: Annotated[str, serializers.ChoiceField(FROSTS)]


@dataclass(frozen=True, slots=True, kw_only=True)
class SensorOutput(Answer):
    """One sensor in the time looked at; an empty name stands for people."""

    place: Annotated[str, serializers.ChoiceField(Place.choices)]
    sensor: str
    last_at: datetime
    readings: int
    stuck: Annotated[int, "How many of them count as not measured, but for their cold and damp."]


@dataclass(frozen=True, slots=True, kw_only=True)
class ForecastHourOutput(Answer):
    """What the weather will be in the hour that begins at `at`."""

    at: datetime
    celsius: float
    humidity_percent: float | None
    rain_chance_percent: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class ForecastOutput(Answer):
    """The last good forecast."""

    way: Annotated[str, serializers.ChoiceField(Forecast.Way.choices)]
    issued_at: datetime
    received_at: datetime
    age_minutes: Annotated[int, "Since it was issued."]
    stale: Annotated[bool, "Older than 12 hours."]
    hours: Annotated[Rows, serializer_of(ForecastHourOutput)(many=True)]


@dataclass(frozen=True, slots=True, kw_only=True)
class FetchingOutput(Answer):
    """How fetching the forecast goes, where a URL is set."""

    on: bool
    tried_at: datetime | None
    next_at: datetime | None
    problem: Annotated[str, "Why the last try brought nothing; empty: it did."]


@dataclass(frozen=True, slots=True, kw_only=True)
class ClimateOutput(Answer):
    """The air of the workshop."""

    latest: Sequence[LatestOutput]
    hours: Annotated[int, "How far back `readings` and `sensors` go."]
    readings: Annotated[Rows, ReadingOutput(many=True)]
    more: Annotated[bool, "True: only the newest are shown."]
    sensors: Sequence[SensorOutput]
    forecast: ForecastOutput | None
    fetching: FetchingOutput


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
