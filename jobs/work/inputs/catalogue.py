"""What a workshop may say of its operations and packages."""

from collections.abc import Callable, Mapping, Sequence
from typing import Any, TypeVar

from rest_framework import serializers

from core.api.serializers import Input, StrictSerializer
from jobs.work.calc.catalogue.workshop import (
    LONGEST_CODE,
    MOST_IN_PACKAGE,
    MOST_STANDARD_MINUTES,
    MOST_WAIT_MINUTES,
    STAGES,
    WAITS,
    wait_refused,
)
from jobs.work.services.catalogue import (
    NewOperation,
    NewPackage,
    OperationChange,
    PackageChange,
)

T = TypeVar("T")
LONGEST_NAME = 80
LONGEST_CAUTION = 600
STAGE_CHOICES = [(stage.value, stage.value) for stage in STAGES]
WAIT_CHOICES = [(wait, wait) for wait in WAITS]


def _code() -> serializers.RegexField:
    return serializers.RegexField(
        r"^[a-z][a-z0-9_]*\Z",
        max_length=LONGEST_CODE,
        help_text="Small letters, digits and underscores; it stays as it is.",
    )


def _stage(**more: Any) -> serializers.ChoiceField:
    return serializers.ChoiceField(STAGE_CHOICES, help_text="When it is done.", **more)


def _minutes(**more: Any) -> serializers.IntegerField:
    return serializers.IntegerField(
        min_value=1,
        max_value=MOST_STANDARD_MINUTES,
        help_text="What it takes on a medium car in ordinary state.",
        **more,
    )


def _parts(**more: Any) -> serializers.ListField:
    return serializers.ListField(
        child=serializers.CharField(max_length=LONGEST_CODE),
        min_length=1,
        max_length=MOST_IN_PACKAGE,
        help_text="Codes of operations.",
        **more,
    )


class OperationFields(StrictSerializer):
    """The fields of an operation."""

    name = serializers.CharField(max_length=LONGEST_NAME, required=False)
    stage = _stage(required=False)
    standard_minutes = _minutes(required=False)
    waits = serializers.ChoiceField(
        WAIT_CHOICES,
        required=False,
        allow_blank=True,
        help_text="What it leaves to wait for, if anything.",
    )
    wait_minutes = serializers.IntegerField(
        min_value=0,
        max_value=MOST_WAIT_MINUTES,
        required=False,
        help_text="How long the car waits then; the product's data sheet knows.",
    )
    own_caution = serializers.CharField(
        max_length=LONGEST_CAUTION,
        required=False,
        allow_blank=True,
        help_text="Stands beside the caution of ours, which stays.",
    )
    hidden = serializers.BooleanField(required=False, help_text="True: not to be ordered anew.")


class OperationChangeInput(Input[OperationChange], OperationFields):
    """What changes of an operation."""


class OperationInput(Input[NewOperation], OperationFields):
    """An operation of the workshop's own."""

    code = _code()
    name = serializers.CharField(max_length=LONGEST_NAME)
    stage = _stage()
    standard_minutes = _minutes()

    def errors_across(self, data: Mapping[str, Any]) -> dict[str, list[str]]:
        """Refuse a wait without minutes, and minutes without a wait."""
        waits, minutes = data.get("waits") or "", data.get("wait_minutes") or 0
        if not isinstance(waits, str) or not isinstance(minutes, int):
            return {}
        message = wait_refused(waits, minutes)
        return {"wait_minutes": [message]} if message else {}


class PackageFields(StrictSerializer):
    """The fields of a package."""

    name = serializers.CharField(max_length=LONGEST_NAME, required=False)
    operations = _parts(required=False)
    hidden = serializers.BooleanField(required=False, help_text="True: not to be ordered anew.")

    def validate_operations(self, codes: list[str]) -> list[str]:
        """Keep each once."""
        return list(dict.fromkeys(codes))


class PackageChangeInput(Input[PackageChange], PackageFields):
    """What changes of a package."""


class PackageInput(Input[NewPackage], PackageFields):
    """A package of the workshop's own."""

    code = _code()
    name = serializers.CharField(max_length=LONGEST_NAME)
    operations = _parts()


def read_with_codes(form: Input[T], wrong: Callable[[Sequence[str]], str]) -> T:
    """Return what a form yields; where it is wrong, tell in the same breath which codes are.

    Which operations there are depends on the workshop, so the service looks at them; `wrong`
    says the same of those in a form that never gets there. Raises ValidationError.
    """
    if form.is_valid():
        taken: T = form.validated_data
        return taken
    errors = dict(form.errors)
    sent: Any = form.initial_data
    codes = sent.get("operations") if isinstance(sent, Mapping) else None
    readable = isinstance(codes, list) and all(isinstance(code, str) for code in codes)
    if readable and codes and "operations" not in errors and (message := wrong(codes)):
        errors["operations"] = [message]
    raise serializers.ValidationError(errors)
