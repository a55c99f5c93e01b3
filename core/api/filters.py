"""Filters of lists that refuse what they do not understand instead of leaving it out."""

from datetime import UTC, datetime
from typing import Any

import django_filters
from django import forms
from django.core.exceptions import ValidationError
from django.utils.dateparse import parse_datetime

ANSWERS = {"true": True, "false": False}


class YesNoField(forms.Field):
    """True or false, in these words."""

    def to_python(self, value: Any) -> bool | None:
        if value in self.empty_values:
            return None
        if value not in ANSWERS:
            raise ValidationError("Send true or false.")
        return ANSWERS[value]


class YesNoFilter(django_filters.BooleanFilter):  # type: ignore[misc]  # the library has no types
    """Narrows by true or false; any other word is refused."""

    field_class = YesNoField


class ZonedTimeField(forms.Field):
    """An RFC 3339 instant; one without a zone is refused, since nobody knows which was meant."""

    def to_python(self, value: Any) -> datetime | None:
        if value in self.empty_values:
            return None
        try:
            instant = parse_datetime(value)
            if instant is not None and instant.tzinfo is not None:
                return instant.astimezone(UTC)
        except (ValueError, OverflowError):
            pass  # refused below, as what cannot be read at all is
        raise ValidationError(
            "Give date, time and zone, as in 2027-03-01T09:30:00Z; a plus sign must be escaped."
        )


class ZonedTimeFilter(django_filters.IsoDateTimeFilter):  # type: ignore[misc]  # the same
    """Narrows by an instant with its zone."""

    field_class = ZonedTimeField
