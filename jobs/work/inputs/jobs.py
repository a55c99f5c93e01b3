"""What a caller may send: every field checked, every error told at once."""

from collections.abc import Mapping
from typing import Any

from django.conf import settings
from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers

from core.api.serializers import DeviceTimeField, StrictSerializer, ZonedDateTimeField
from jobs.work.calc.car.fuels import FUEL_CHOICES
from jobs.work.calc.catalogue.workshop import LONGEST_CODE
from jobs.work.calc.orders.marks import read_mark
from jobs.work.calc.orders.vins import read_vin
from jobs.work.calc.stages.machine import Stage
from jobs.work.models import Hold, Job

LONGEST_REASON = 500
MOST_CODES = 60
MOST_MINUTES = 100_000
MOST_MILEAGE = 2_000_000


def _text(length: int, **more: Any) -> serializers.CharField:
    return serializers.CharField(max_length=length, required=False, allow_blank=True, **more)


class OrderFields(StrictSerializer):
    """The fields of a work order, as a dealer gives and changes them."""

    dealer_ref = _text(60, help_text="Your stock number; one open work order for each.")
    registration = _text(40, help_text="In any spelling: it is brought into its usual form.")
    vin = _text(40)
    make = _text(60)
    model = _text(80)
    colour = _text(40)
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
    location = _text(120, help_text="Where the car stands.")
    keys = _text(120, help_text="Where the keys are.")
    supplied = serializers.ListField(
        child=serializers.CharField(max_length=120),
        required=False,
        max_length=MOST_CODES,
        help_text="Parts or paint you supply.",
    )
    contact_name = _text(80)
    contact_phone = _text(40)
    contact_email = serializers.EmailField(max_length=254, required=False, allow_blank=True)
    notes = _text(4000)

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


class WorkOrderInput(OrderFields):
    """A work order as a dealer posts it; registration or vin is required, the rest is optional."""

    workshop_id = serializers.UUIDField(
        required=False, help_text="Needed only where you deal with several workshops."
    )


class WorkOrderChangeInput(OrderFields):
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


class ReasonInput(StrictSerializer):
    """A reason that may be left out."""

    reason = _text(LONGEST_REASON)


class AcceptInput(StrictSerializer):
    """Nothing but the device's time."""

    occurred_at = DeviceTimeField(required=False)


class DeclineInput(StrictSerializer):
    """Why the workshop declines."""

    reason = serializers.CharField(max_length=LONGEST_REASON)
    occurred_at = DeviceTimeField(required=False)


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
    reason = _text(LONGEST_REASON, help_text="Needed where something is left open.")
    confirm = serializers.BooleanField(
        required=False, help_text="True: it leaves though tasks or the walk-round are open."
    )


class MoveInput(StrictSerializer):
    """One move of the car, made against the version the person saw."""

    to = serializers.ChoiceField([(stage.value, stage.value) for stage in Stage])
    version = serializers.IntegerField(min_value=0, max_value=2**31 - 1)
    reason = _text(LONGEST_REASON, help_text="Needed for going back and for an override.")
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
    reason = _text(LONGEST_REASON, help_text="The dealer reads it.")
    occurred_at = DeviceTimeField(required=False, help_text="By the device's clock.")


class HoldInput(StrictSerializer):
    """The job waits."""

    cause = serializers.ChoiceField(Hold.Cause.choices)
    reason = _text(LONGEST_REASON)
    occurred_at = DeviceTimeField(required=False)
    version = serializers.IntegerField(required=False, min_value=0, max_value=2**31 - 1)


class ReleaseInput(StrictSerializer):
    """The wait is over."""

    reason = _text(LONGEST_REASON)
    occurred_at = DeviceTimeField(required=False)
    version = serializers.IntegerField(required=False, min_value=0, max_value=2**31 - 1)


class TaskInput(StrictSerializer):
    """An operation to add."""

    operation = serializers.CharField(
        max_length=LONGEST_CODE, help_text="Its code; GET /operations lists them."
    )
    planned_minutes = serializers.IntegerField(required=False, min_value=1, max_value=MOST_MINUTES)
    note = _text(300)
    occurred_at = DeviceTimeField(required=False)


class TaskStartInput(StrictSerializer):
    """Somebody starts on a task."""

    person_id = serializers.UUIDField(
        required=False, help_text="Who works; the person signed in where left out."
    )
    occurred_at = DeviceTimeField(required=False)


class TaskFinishInput(TaskStartInput):
    """A task is finished, or with done=false only this person's time on it ends."""

    done = serializers.BooleanField(
        required=False, help_text="False ends one person's time only; true where left out."
    )
    note = _text(300)

    def errors_across(self, data: Mapping[str, Any]) -> dict[str, list[str]]:
        """Refuse a person where everybody is meant."""
        if data.get("person_id") and data.get("done") is not False:
            return {"person_id": ["Name a person with done=false only: else it ends for all."]}
        return {}
