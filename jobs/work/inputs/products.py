"""What a workshop may say of its products."""

from collections.abc import Mapping
from typing import Any

from rest_framework import serializers
from rest_framework.fields import empty

from core.api.serializers import Input, StrictSerializer
from jobs.work.calc.catalogue.workshop import LONGEST_CODE, MOST_WAIT_MINUTES
from jobs.work.services.products import NewProduct, ProductChange

LONGEST_NAME = 80
LONGEST_SHEET = 120
# Outside of these it is a mistake of typing. Common practice, no source.
COLDEST_CELSIUS, WARMEST_CELSIUS = -20.0, 60.0
LEAST_Q10, MOST_Q10 = 1.0, 5.0
ABOVE = "It cannot stand still at the very temperature its minutes are told for."
BELOW = "It cannot lie below the temperature its minutes are told for."


class FigureField(serializers.FloatField):
    """A number within bounds; not a number is none. Left empty it is null, where that may be."""

    def run_validation(self, data: Any = empty) -> Any:
        return super().run_validation(None if data == "" and self.allow_null else data)

    def to_internal_value(self, data: Any) -> float:
        value = super().to_internal_value(data)
        if isinstance(data, bool) or value != value:  # noqa: PLR0124  only NaN differs from itself
            self.fail("invalid")
        return value


def _celsius(help_text: str) -> FigureField:
    return FigureField(
        min_value=COLDEST_CELSIUS, max_value=WARMEST_CELSIUS, required=False, help_text=help_text
    )


class ProductFields(StrictSerializer):
    """The fields of a product."""

    name = serializers.CharField(max_length=LONGEST_NAME, required=False)
    operation = serializers.CharField(
        max_length=LONGEST_CODE,
        required=False,
        allow_blank=True,
        help_text="The operation it is used in, by its code; empty: any.",
    )
    reference_minutes = serializers.IntegerField(
        min_value=0,
        max_value=MOST_WAIT_MINUTES,
        required=False,
        help_text="How long it cures at the reference temperature; 0: it need not.",
    )
    reference_celsius = _celsius("What the minutes are told for; 15 where left out.")
    q10 = FigureField(
        min_value=LEAST_Q10,
        max_value=MOST_Q10,
        required=False,
        help_text="By how much 10 °C more speeds it up; 2 where left out.",
    )
    lowest_celsius = _celsius("Below this it does not cure; 5 where left out.")
    highest_celsius = FigureField(
        min_value=COLDEST_CELSIUS,
        max_value=WARMEST_CELSIUS,
        required=False,
        allow_null=True,
        help_text="The warmest that the sheet gives times for; warmer air makes it no quicker. "
        "Left out: 25, or the reference where that is warmer.",
    )
    apply_from_celsius = _celsius("The sheet wants no colder surface; 10 where left out.")
    sheet = serializers.CharField(
        max_length=LONGEST_SHEET,
        required=False,
        allow_blank=True,
        help_text="Which data sheet says so, and of when.",
    )
    hidden = serializers.BooleanField(required=False, help_text="True: it is not used any more.")

    def errors_across(self, data: Mapping[str, Any]) -> dict[str, list[str]]:
        """Refuse a product whose own reference lies outside of what it cures in."""
        lowest, reference = data.get("lowest_celsius"), data.get("reference_celsius")
        highest, found = data.get("highest_celsius"), {}
        if not isinstance(reference, (int, float)):
            return {}
        if isinstance(lowest, (int, float)) and lowest > reference:
            found["lowest_celsius"] = [ABOVE]
        if isinstance(highest, (int, float)) and highest < reference:
            found["highest_celsius"] = [BELOW]
        return found


class ProductChangeInput(Input[ProductChange], ProductFields):
    """What changes of a product."""


class ProductInput(Input[NewProduct], ProductFields):
    """A product, by its data sheet."""

    name = serializers.CharField(max_length=LONGEST_NAME)
    reference_minutes = serializers.IntegerField(
        min_value=0,
        max_value=MOST_WAIT_MINUTES,
        help_text="How long it cures at the reference temperature; 0: it need not.",
    )
