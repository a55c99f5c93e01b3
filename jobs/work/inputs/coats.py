"""What a workshop may send about coats and the things a dealer supplied."""

from rest_framework import serializers

from core.api.serializers import DeviceTimeField, StrictSerializer
from jobs.work.calc.coats import CoatKind
from jobs.work.inputs.jobs import LONGEST_REASON
from jobs.work.models import SuppliedTick

DAY_MINUTES = 24 * 60


class CoatInput(StrictSerializer):
    """A coat went on."""

    kind = serializers.ChoiceField([(kind.value, kind.value) for kind in CoatKind])
    flash_off_minutes = serializers.IntegerField(
        required=False,
        min_value=1,
        max_value=DAY_MINUTES,
        help_text="As the product's data sheet says; else what GET /refinishing-steps suggests.",
    )
    reason = serializers.CharField(
        max_length=LONGEST_REASON,
        required=False,
        allow_blank=True,
        help_text="Needed where the last coat has not flashed off.",
    )
    occurred_at = DeviceTimeField(required=False)


class SuppliedInput(StrictSerializer):
    """What became of one thing the dealer supplied."""

    item = serializers.CharField(max_length=120, help_text="Its text in the work order.")
    state = serializers.ChoiceField(SuppliedTick.State.choices)
    note = serializers.CharField(max_length=300, required=False, allow_blank=True)
    occurred_at = DeviceTimeField(required=False)
