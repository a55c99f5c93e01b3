"""What a caller may send about paint."""

from collections.abc import Mapping
from typing import Any

from rest_framework import serializers

from core.api.serializers import DeviceTimeField, StrictSerializer
from jobs.work.calc.car.areas import AREAS, PANELS
from jobs.work.calc.paint.film import WHOLE_CAR
from jobs.work.calc.paint.survey import (
    HIGHEST_READING_MICRONS,
    LEAST_READINGS,
    LOWEST_READING_MICRONS,
    Material,
)
from jobs.work.calc.paint.system import Look, PadColour, RubbedWith
from jobs.work.models import FilmCheck, PaintTest, PassesDone, SpotReading

MOST_SPOTS_AT_ONCE = 200
MOST_READINGS = 50
MOST_PASSES = 20
PANEL_CODES = [(panel.code, panel.name) for panel in PANELS.values()]


FILM_PLACES = [(WHOLE_CAR, AREAS[WHOLE_CAR].name), *PANEL_CODES]
NO_PANEL: dict[str, Any] = {
    "invalid_choice": "There is no panel {input}; GET /api/v1/areas says which there are."
}


def _panel() -> serializers.ChoiceField:
    return serializers.ChoiceField(
        PANEL_CODES,
        error_messages=NO_PANEL,
        help_text="A body panel; left and right as from the driver's seat.",
    )


def _note() -> serializers.CharField:
    return serializers.CharField(max_length=200, required=False, allow_blank=True)


class MicronsField(serializers.FloatField):
    """One reading of a film gauge in microns: a plain number in the range such a gauge shows."""

    default_error_messages = {
        "range": "{value:g} microns is no reading of paint on a car: 0 to 5,000 is.",
    }

    def to_internal_value(self, data: Any) -> float:
        if isinstance(data, bool):
            self.fail("invalid")
        microns = super().to_internal_value(data)
        if not LOWEST_READING_MICRONS <= microns <= HIGHEST_READING_MICRONS:
            self.fail("range", value=microns)
        return microns


class SpotInput(StrictSerializer):
    """One place on a panel: at least three single readings close together, none on plastic."""

    panel = _panel()
    material = serializers.ChoiceField(SpotReading.Material.choices)
    readings = serializers.ListField(
        child=MicronsField(
            help_text=f"{LOWEST_READING_MICRONS:g} to {HIGHEST_READING_MICRONS:g} microns."
        ),
        required=False,
        max_length=MOST_READINGS,
        help_text="Single readings in microns, three or more; on plastic leave them out.",
    )
    note = _note()

    def errors_across(self, data: Mapping[str, Any]) -> dict[str, list[str]]:
        """Refuse readings of plastic, and too few of metal."""
        readings = data.get("readings", [])
        if not isinstance(readings, (list, tuple)):
            return {}
        if data.get("material") == Material.PLASTIC.value:
            return {"readings": ["Plastic gives no reading; leave them out."]} if readings else {}
        if len(readings) < LEAST_READINGS:
            return {"readings": [f"Give at least {LEAST_READINGS} single readings of the spot."]}
        return {}


class SpotsInput(StrictSerializer):
    """Many spots at once."""

    spots = serializers.ListField(child=SpotInput(), min_length=1, max_length=MOST_SPOTS_AT_ONCE)
    occurred_at = DeviceTimeField(required=False)

    def validate_spots(self, spots: list[dict[str, Any]]) -> list[dict[str, Any]]:
        """Refuse one panel of two materials."""
        first: dict[str, str] = {}
        wrong = {}
        for index, spot in enumerate(spots):
            was = first.setdefault(spot["panel"], spot["material"])
            if was != spot["material"]:
                message = f"{PANELS[spot['panel']].name} is {was} in another spot of this request."
                wrong[index] = {"material": [message]}
        if wrong:
            raise serializers.ValidationError(wrong)  # type: ignore[arg-type]  # nested, as DRF's
        return spots


class SetAsideInput(StrictSerializer):
    """Why what was noted does not count."""

    reason = serializers.CharField(max_length=200)
    occurred_at = DeviceTimeField(required=False)


class PaintTestInput(StrictSerializer):
    """A rub with a white pad, on white paint with a dark cloth; what is seen; and a wetting."""

    panel = _panel()
    pad_colour = serializers.ChoiceField(
        PaintTest.PadColour.choices,
        help_text=(
            "What came off: the paint's own colour, or nothing of it (`nothing`; on a white pad "
            "`white` says the same)."
        ),
    )
    rubbed_with = serializers.ChoiceField(
        PaintTest.RubbedWith.choices, required=False, help_text="A white pad where left out."
    )
    white_paint = serializers.BooleanField(
        required=False,
        allow_null=True,
        help_text=(
            "Is the paint white or nearly so? Left out or null: as the order names its colour. On "
            "white paint a white pad shows nothing."
        ),
    )
    look = serializers.ChoiceField(
        PaintTest.Look.choices, required=False, help_text="What is seen; the worst of it."
    )
    faded = serializers.BooleanField(
        required=False, help_text="The older way to say `look`: `faded`."
    )
    darkens_when_wet = serializers.BooleanField(
        required=False, allow_null=True, help_text="Null: not tried."
    )
    note = _note()
    occurred_at = DeviceTimeField(required=False)

    def errors_across(self, data: Mapping[str, Any]) -> dict[str, list[str]]:
        """Refuse what contradicts itself."""
        wrong = {}
        if data.get("rubbed_with") == RubbedWith.DARK_CLOTH.value and (
            data.get("pad_colour") == PadColour.WHITE.value
        ):
            wrong["pad_colour"] = ["Of a dark cloth say paint, nothing or unsure."]
        if data.get("faded") is True and data.get("look", Look.FADED.value) != Look.FADED.value:
            wrong["look"] = ["Faded is true here: leave out one of the two."]
        if data.get("faded") is False and data.get("look") == Look.FADED.value:
            wrong["look"] = ["Faded is false here: leave out one of the two."]
        return wrong


class FilmCheckInput(StrictSerializer):
    """Whether a film or wrap lies on a panel, or on the whole car."""

    panel = serializers.ChoiceField(
        FILM_PLACES,
        required=False,
        error_messages=NO_PANEL,
        help_text="The whole vehicle where left out; a panel's own answer outranks it.",
    )
    film = serializers.ChoiceField(
        FilmCheck.Answer.choices,
        help_text="The latest answer counts; `not_asked` takes an answer back.",
    )
    note = _note()
    occurred_at = DeviceTimeField(required=False)


class PassesInput(StrictSerializer):
    """Machine passes over one panel."""

    panel = _panel()
    kind = serializers.ChoiceField(PassesDone.Kind.choices)
    passes = serializers.IntegerField(min_value=1, max_value=MOST_PASSES)
    reason = serializers.CharField(
        max_length=500,
        required=False,
        allow_blank=True,
        help_text="Needed where the conservative allowance does not cover them.",
    )
    occurred_at = DeviceTimeField(required=False)
