"""What a dealer sends of a work order, and what the workshop answers."""

from collections.abc import Mapping
from typing import Any

from django.conf import settings
from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers

from core.api.serializers import DeviceTimeField, Input, StrictSerializer, ZonedDateTimeField
from jobs.work.calc.car.fuels import FUEL_CHOICES
from jobs.work.calc.orders.marks import read_mark
from jobs.work.calc.orders.vins import read_vin
from jobs.work.inputs.jobs import (
    LONGEST_REASON,
    MOST_CODES,
    MOST_MILEAGE,
    MOST_MINUTES,
    optional_text,
)
from jobs.work.models import Job
from jobs.work.services.orders.orders import NewOrder, OrderChange


class OrderFieldsInput(StrictSerializer):
    """The fields of a work order, as a dealer gives and changes them."""

    dealer_ref = optional_text(60, help_text="Your stock number; one open work order for each.")
    registration = optional_text(
        40, help_text="In any spelling: it is brought into its usual form."
    )
    vin = optional_text(40)
    make = optional_text(60)
    model = optional_text(80)
    colour = optional_text(40)
    first_registered = serializers.DateField(required=False, allow_null=True)
    mileage = serializers.IntegerField(
        required=False, allow_null=True, min_value=0, max_value=MOST_MILEAGE
    )
    mileage_unit = serializers.ChoiceField(Job.MileageUnit.choices, required=False)
    body_size = serializers.ChoiceField(Job.BodySize.choices, required=False)
    fuel = serializers.ChoiceField(
        FUEL_CHOICES,
        required=False,
        help_text="What it runs on; hybrid and electric bring cautions about high voltage.",
    )
    purpose = serializers.ChoiceField(Job.Purpose.choices, required=False)
    operations = serializers.ListField(
        child=serializers.CharField(max_length=40),
        required=False,
        max_length=MOST_CODES,
        help_text="Codes of operations and packages; GET /operations lists them.",
    )
    due_at = ZonedDateTimeField(
        required=False, allow_null=True, help_text="When the car is wanted back."
    )
    cap_minutes = serializers.IntegerField(
        required=False,
        allow_null=True,
        min_value=1,
        max_value=MOST_MINUTES,
        help_text="The most working time to spend.",
    )
    cap_amount = serializers.DecimalField(
        required=False,
        allow_null=True,
        max_digits=10,
        decimal_places=2,
        min_value=0,
        help_text="The most money to spend, as a string.",
    )
    cap_currency = serializers.RegexField(r"^[A-Z]{3}$", required=False, help_text="ISO 4217.")
    location = optional_text(120, help_text="Where the car stands.")
    keys = optional_text(120, help_text="Where the keys are.")
    supplied = serializers.ListField(
        child=serializers.CharField(max_length=120),
        required=False,
        max_length=MOST_CODES,
        help_text="Parts or paint you supply.",
    )
    contact_name = optional_text(80)
    contact_phone = optional_text(40)
    contact_email = serializers.EmailField(max_length=254, required=False, allow_blank=True)
    notes = optional_text(4000)

    def errors_across(self, data: Mapping[str, Any]) -> dict[str, list[str]]:
        errors = {}
        named = any(str(data.get(name) or "").strip() for name in ("registration", "vin"))
        if not self.partial and not named:
            errors["registration"] = ["Give the registration or the vin; one is needed."]
        if data.get("cap_minutes") is not None and data.get("cap_amount") is not None:
            errors["cap_minutes"] = ["Cap the minutes or the amount, not both."]
        return errors

    def validate_registration(self, text: str) -> str:
        """Bring the mark into its usual form."""
        if not text:
            return ""
        try:
            return read_mark(text, region=settings.MARK_REGION).text
        except ValueError as error:
            raise serializers.ValidationError(str(error)) from error

    def validate_vin(self, text: str) -> str:
        """Bring the VIN into its usual form."""
        if not text:
            return ""
        try:
            return read_vin(text).text
        except ValueError as error:
            raise serializers.ValidationError(str(error)) from error

    def validate_operations(self, codes: list[str]) -> list[str]:
        """Keep each code once; whether the workshop offers it, its catalogue says."""
        return list(dict.fromkeys(codes))

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        """Add what follows from the fields given."""
        if "registration" in attrs:
            mark = attrs["registration"]
            attrs["registration_key"] = (
                read_mark(mark, region=settings.MARK_REGION).key if mark else ""
            )
        return attrs


class WorkOrderInput(Input[NewOrder], OrderFieldsInput):
    """A work order as a dealer posts it; registration or vin is required, the rest is optional."""

    workshop_id = serializers.UUIDField(
        required=False, help_text="Needed only where you deal with several workshops."
    )


class WorkOrderChangeInput(Input[OrderChange], OrderFieldsInput):
    """A change: only the fields given change; `version` guards against a change by others."""

    version = serializers.IntegerField(
        required=False,
        min_value=0,
        max_value=2**31 - 1,
        help_text="The version you saw; leave it out to change whatever is there.",
    )


@extend_schema_field(WorkOrderInput)
class LineField(serializers.Field[Any, Any, Any, Any]):
    """One line of a batch as it came, whatever it is: it is looked at on its own, later."""

    def run_validation(self, data: Any = None) -> Any:
        return data


class BatchInput(StrictSerializer):
    """Up to 500 work orders; each is looked at on its own."""

    work_orders = serializers.ListField(child=LineField(), min_length=1, max_length=500)


class AcceptInput(StrictSerializer):
    """Nothing but the device's time."""

    occurred_at = DeviceTimeField(required=False)


class DeclineInput(StrictSerializer):
    """Why the workshop declines."""

    reason = serializers.CharField(max_length=LONGEST_REASON)
    occurred_at = DeviceTimeField(required=False)
