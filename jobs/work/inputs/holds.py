"""What is said of a hold."""

from rest_framework import serializers

from core.api.serializers import DeviceTimeField, StrictSerializer
from jobs.work.inputs.jobs import LONGEST_REASON, optional_text
from jobs.work.models import Hold


class HoldInput(StrictSerializer):
    """The job waits."""

    cause = serializers.ChoiceField(Hold.Cause.choices)
    reason = optional_text(LONGEST_REASON)
    occurred_at = DeviceTimeField(required=False)
    version = serializers.IntegerField(required=False, min_value=0, max_value=2**31 - 1)


class ReleaseInput(StrictSerializer):
    """The wait is over."""

    reason = optional_text(LONGEST_REASON)
    occurred_at = DeviceTimeField(required=False)
    version = serializers.IntegerField(required=False, min_value=0, max_value=2**31 - 1)
