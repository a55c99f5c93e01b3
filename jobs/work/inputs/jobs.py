"""What the inputs about a job share: limits, and a reason."""

from typing import Any

from rest_framework import serializers

from core.api.serializers import StrictSerializer

LONGEST_REASON = 500
MOST_CODES = 60
MOST_MINUTES = 100_000
MOST_MILEAGE = 2_000_000


def optional_text(length: int, **more: Any) -> serializers.CharField:
    """Return a field of text that may be left out or empty."""
    return serializers.CharField(max_length=length, required=False, allow_blank=True, **more)


class ReasonInput(StrictSerializer):
    """A reason that may be left out."""

    reason = optional_text(LONGEST_REASON)
