"""Serializers that refuse unknown fields by name, and fields for times with a zone."""

from collections.abc import Mapping
from datetime import UTC, datetime
from typing import Any

from rest_framework import serializers

MAX_NAMED = 20


class ZonedDateTimeField(serializers.DateTimeField):
    """An RFC 3339 instant; one without a zone is refused, since nobody knows which was meant."""

    default_error_messages = {
        "no_zone": "Give the zone, as in 2027-03-01T09:30:00Z or 2027-03-01T09:30:00+01:00.",
    }

    def __init__(self, **kwargs: Any) -> None:
        kwargs.setdefault("default_timezone", UTC)
        super().__init__(**kwargs)

    def enforce_timezone(self, value: datetime) -> datetime:
        if value.tzinfo is None:
            self.fail("no_zone")
        try:
            return value.astimezone(UTC)
        except (OverflowError, ValueError):
            self.fail("overflow", timezone="UTC")
            raise


class StrictSerializer(serializers.Serializer[Any]):
    """An input: unknown fields are refused by name together with every other error."""

    def to_internal_value(self, data: Any) -> Any:
        unknown: dict[str, list[str]] = {}
        if isinstance(data, Mapping):
            names = sorted(str(name) for name in data if name not in self.fields)
            known = ", ".join(sorted(self.fields))
            for name in names[:MAX_NAMED]:
                unknown[name] = [f"There is no such field. Known fields: {known}."]
        try:
            value = super().to_internal_value(data)
        except serializers.ValidationError as error:
            if isinstance(error.detail, dict):
                raise serializers.ValidationError({**error.detail, **unknown}) from error
            raise
        if unknown:
            raise serializers.ValidationError(unknown)
        return value
