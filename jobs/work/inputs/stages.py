"""What is said of the car's way."""

from rest_framework import serializers

from core.api.serializers import DeviceTimeField, StrictSerializer
from jobs.work.calc.car.fuels import FUEL_CHOICES
from jobs.work.calc.stages.machine import Stage
from jobs.work.inputs.jobs import LONGEST_REASON, optional_text


class ArrivalInput(StrictSerializer):
    """The car is here."""

    occurred_at = DeviceTimeField(required=False)
    version = serializers.IntegerField(required=False, min_value=0, max_value=2**31 - 1)
    fuel = serializers.ChoiceField(
        FUEL_CHOICES,
        required=False,
        help_text="What the car runs on, as it stands there; it outranks the order.",
    )


class CollectionInput(StrictSerializer):
    """The car was taken away."""

    occurred_at = DeviceTimeField(required=False)
    reason = optional_text(LONGEST_REASON, help_text="Needed where something is left open.")
    confirm = serializers.BooleanField(
        required=False, help_text="True: it leaves though tasks or the walk-round are open."
    )


class MoveInput(StrictSerializer):
    """One move of the car, made against the version the person saw."""

    to = serializers.ChoiceField([(stage.value, stage.value) for stage in Stage])
    version = serializers.IntegerField(min_value=0, max_value=2**31 - 1)
    reason = optional_text(LONGEST_REASON, help_text="Needed for going back and for an override.")
    occurred_at = DeviceTimeField(required=False, help_text="By the device's clock.")
    override = serializers.BooleanField(
        required=False, help_text="A manager lets the car pass a running clock."
    )
    confirm = serializers.BooleanField(
        required=False, help_text="True: it goes to ready though tasks are open."
    )


class CorrectionInput(StrictSerializer):
    """The last step of the car was a mistake; made against the version the person saw."""

    version = serializers.IntegerField(min_value=0, max_value=2**31 - 1)
    reason = optional_text(LONGEST_REASON, help_text="The dealer reads it.")
    occurred_at = DeviceTimeField(required=False, help_text="By the device's clock.")
