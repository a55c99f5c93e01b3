"""What is said of a walk-round."""

from typing import Any

from rest_framework import serializers

from core.api.serializers import DeviceTimeField, Input
from jobs.work.calc.car.fuels import FUEL_CHOICES
from jobs.work.calc.walk_rounds import ITEMS, WARNING_LIGHTS, Presence
from jobs.work.inputs.findings import AREA_CODES, NO_SUCH_AREA, photo_ids_field
from jobs.work.inputs.jobs import MOST_MILEAGE, optional_text
from jobs.work.models import Job, WalkRound
from jobs.work.services.walk_rounds import Damage, NewWalkRound
from jobs.work.words.findings import LONGEST_CODE

MOST_DAMAGE = 60
MOST_KEYS = 20


def _percent(**more: Any) -> serializers.IntegerField:
    return serializers.IntegerField(
        required=False, allow_null=True, min_value=0, max_value=100, **more
    )


class DamageInput(Input[Damage]):
    """Damage at one area."""

    area = serializers.ChoiceField(AREA_CODES, error_messages=NO_SUCH_AREA)
    noticed = serializers.CharField(max_length=300)
    photo_ids = photo_ids_field()


class WalkRoundInput(Input[NewWalkRound]):
    """What the car was like; leave out or send null for what was not looked at."""

    occasion = serializers.ChoiceField(WalkRound.Occasion.choices)
    mileage = serializers.IntegerField(
        required=False, allow_null=True, min_value=0, max_value=MOST_MILEAGE
    )
    mileage_unit = serializers.ChoiceField(
        Job.MileageUnit.choices,
        required=False,
        help_text="As this car was last read, else as in the order, where left out.",
    )
    fuel = serializers.ChoiceField(
        FUEL_CHOICES, required=False, help_text="What it runs on; it outranks what was known."
    )
    fuel_percent = _percent(help_text="Of a full tank.")
    charge_percent = _percent(help_text="Of the drive battery.")
    keys_count = serializers.IntegerField(
        required=False, allow_null=True, min_value=0, max_value=MOST_KEYS
    )
    warning_lights = serializers.ListField(
        child=serializers.ChoiceField(list(WARNING_LIGHTS.items())),
        required=False,
        max_length=len(WARNING_LIGHTS),
        help_text="Those that stay lit with the engine running.",
    )
    items = serializers.DictField(
        child=serializers.ChoiceField([(presence.value, presence.value) for presence in Presence]),
        required=False,
        help_text="Code of an item: present, absent or not_checked.",
    )
    damage = serializers.ListField(child=DamageInput(), required=False, max_length=MOST_DAMAGE)
    notes = optional_text(1000)
    occurred_at = DeviceTimeField(required=False)

    def validate_items(self, items: dict[str, str]) -> dict[str, str]:
        """Refuse codes that are not on the list."""
        if unknown := [code for code in items if code not in ITEMS]:
            raise serializers.ValidationError(
                f"Unknown: {', '.join(code[:LONGEST_CODE] for code in sorted(unknown)[:20])}. "
                "GET /api/v1/walk-round-items lists the codes."
            )
        return items

    def validate_warning_lights(self, codes: list[str]) -> list[str]:
        """Keep each light once."""
        return list(dict.fromkeys(codes))
