"""What the workshop says of what cures and dries."""

from rest_framework import serializers

from core.api.serializers import DeviceTimeField, StrictSerializer

LONGEST_NOTE = 300


class TouchTestInput(StrictSerializer):
    """Somebody felt it."""

    dry = serializers.BooleanField(help_text="False: still damp; it is asked again later.")
    note = serializers.CharField(max_length=LONGEST_NOTE, required=False, allow_blank=True)
    occurred_at = DeviceTimeField(required=False, help_text="By the device's clock.")


class ProductUseInput(StrictSerializer):
    """A product went onto the car."""

    product_id = serializers.UUIDField(help_text="GET /products lists them.")
    task_id = serializers.UUIDField(help_text="In the course of which task.")
    note = serializers.CharField(max_length=LONGEST_NOTE, required=False, allow_blank=True)
    occurred_at = DeviceTimeField(required=False, help_text="By the device's clock.")
