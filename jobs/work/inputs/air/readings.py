"""What a caller may send about the air."""

from collections.abc import Mapping
from datetime import datetime, timedelta
from typing import Any

from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers

from core.api.serializers import CLOCK_DRIFT, Input, StrictSerializer, ZonedDateTimeField
from core.clock import now
from jobs.work.calc.air.forecasts import HIGHEST_CELSIUS, LOWEST_CELSIUS, MOST_HOURS
from jobs.work.models import ClimateSetup, Place
from jobs.work.services.air.readings import SetupChange

MOST_READINGS = 1000
OLDEST_READING = timedelta(days=60)
READING_FIELDS = ("celsius", "humidity_percent", "surface_celsius", "at", "place", "sensor")
MIXED = "Send one reading, or readings and a forecast, not both."
NOTHING = "Send a reading with its celsius, or readings, or a forecast."


class FigureField(serializers.FloatField):
    """A plain number within what such a gauge can show; NaN is none."""

    default_error_messages = {
        "range": "{value:.10g} {unit} is not plausible: {low:g} to {high:g} is."
    }

    def __init__(self, *, low: float, high: float, unit: str, **kwargs: Any) -> None:
        self.low, self.high, self.unit = low, high, unit
        super().__init__(
            help_text=f"{unit}, {low:g} to {high:g}. {kwargs.pop('help_text', '')}".strip(),
            **kwargs,
        )

    def to_internal_value(self, data: Any) -> float:
        if isinstance(data, bool):
            self.fail("invalid")
        value = super().to_internal_value(data)
        if not self.low <= value <= self.high:
            self.fail("range", value=value, unit=self.unit, low=self.low, high=self.high)
        return value


def _celsius(**kwargs: Any) -> FigureField:
    return FigureField(low=LOWEST_CELSIUS, high=HIGHEST_CELSIUS, unit="°C", **kwargs)


def _percent(**kwargs: Any) -> FigureField:
    return FigureField(low=0, high=100, unit="%", required=False, allow_null=True, **kwargs)


class MeasuredAtField(ZonedDateTimeField):
    """When something was measured: not to come, and not too long past to matter."""

    default_error_messages = {
        "to_come": "This time is still to come; set the sensor's clock.",
        "long_past": f"This is over {OLDEST_READING.days} days ago; no clock goes back so far.",
    }

    def to_internal_value(self, value: Any) -> datetime:
        instant = super().to_internal_value(value)
        if instant > now() + CLOCK_DRIFT:
            self.fail("to_come")
        if instant < now() - OLDEST_READING:
            self.fail("long_past")
        return instant


class ReadingInput(StrictSerializer):
    """One reading; no `at` means now."""

    celsius = _celsius()
    humidity_percent = _percent(help_text="Relative humidity, where it was measured.")
    surface_celsius = _celsius(
        required=False, allow_null=True, help_text="Of a panel, where it was measured."
    )
    at = MeasuredAtField(required=False, help_text="When it was measured; now where left out.")
    place = serializers.ChoiceField(
        Place.choices, required=False, help_text="In the workshop where left out."
    )
    sensor = serializers.CharField(
        max_length=40,
        required=False,
        allow_blank=True,
        help_text="Which one, where there are several; leave it out for a person.",
    )


@extend_schema_field(ReadingInput)
class ReadingLineField(serializers.Field[Any, Any, Any, Any]):
    """One reading of a series as it came: it is looked at on its own, later."""

    def run_validation(self, data: Any = None) -> Any:
        return data


class ForecastHourInput(StrictSerializer):
    """What the weather will be in the hour that begins at `at`."""

    at = ZonedDateTimeField()
    celsius = _celsius()
    humidity_percent = _percent()
    rain_chance_percent = _percent(help_text="Chance of rain or snow.")


class ForecastInput(StrictSerializer):
    """A forecast for outside, in the shape that a URL has to answer as well."""

    issued_at = ZonedDateTimeField(
        required=False,
        allow_null=True,
        help_text="When it was made; at most 7 days ago. Now where left out.",
    )
    hours = serializers.ListField(
        child=ForecastHourInput(),
        min_length=1,
        max_length=MOST_HOURS,
        help_text="Every hour in rising order, none left out.",
    )


@extend_schema_field(ForecastInput)
class ForecastField(serializers.Field[Any, Any, Any, Any]):
    """A forecast as it came; the same eyes look at one that was fetched."""

    def to_internal_value(self, data: Any) -> Any:
        return data


class ClimateInput(ReadingInput):
    """One reading, or `readings` and a `forecast`, or one of the two."""

    celsius = _celsius(required=False)
    readings = serializers.ListField(
        child=ReadingLineField(),
        required=False,
        min_length=1,
        max_length=MOST_READINGS,
        help_text="A series; each is answered on its own.",
    )
    forecast = ForecastField(required=False, allow_null=True)

    def errors_across(self, data: Mapping[str, Any]) -> dict[str, list[str]]:
        """Refuse a mixture of the two ways, and nothing at all."""
        several = [name for name in ("readings", "forecast") if name in data]
        if not several:
            return {} if "celsius" in data else {"celsius": [NOTHING]}
        if any(name in data for name in READING_FIELDS):
            return {name: [MIXED] for name in several}
        return {}


class ClimateSetupInput(Input[SetupChange]):
    """What a workshop may choose about its air."""

    ready_by_itself = serializers.BooleanField(
        required=False,
        help_text="A car in curing becomes ready when its last clock ends and nothing is open.",
    )
    air = serializers.ChoiceField(
        ClimateSetup.Air.choices,
        required=False,
        help_text="What moves the air over what dries, unless somebody says otherwise.",
    )
    forecast_url = serializers.CharField(
        max_length=500,
        required=False,
        allow_blank=True,
        help_text="Fetched every hour; empty: none is fetched.",
    )
