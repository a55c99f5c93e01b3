"""What a caller may send about findings, belongings, phrases and walk-rounds."""

from collections.abc import Mapping
from typing import Any

from rest_framework import serializers

from core.api.serializers import DeviceTimeField, Input, StrictSerializer, ZonedDateTimeField
from jobs.work.calc.car.areas import AREAS
from jobs.work.calc.findings import CLEARED, FindingKind, Weight
from jobs.work.inputs.jobs import optional_text
from jobs.work.models import Belonging
from jobs.work.services.findings.findings import NewBelonging, NewFinding
from jobs.work.services.findings.phrases import NewPhrase, PhraseChange
from jobs.work.words.findings import LONGEST_CODE

MOST_PHOTOS = 20
KINDS = [(kind.value, kind.value) for kind in FindingKind]
WEIGHTS = [(weight.value, weight.value) for weight in Weight]
AREA_CODES = [(area.code, area.name) for area in AREAS.values()]
NO_SUCH_AREA: dict[str, Any] = {
    "invalid_choice": "There is no area {input}; GET /api/v1/areas lists them."
}
NEEDED = "This field is required, or name a phrase that has it."


def photo_ids_field() -> serializers.ListField:
    """Return a field for photographs of the job, by id."""
    return serializers.ListField(
        child=serializers.UUIDField(),
        required=False,
        max_length=MOST_PHOTOS,
        help_text="Photographs of this job, uploaded before.",
    )


class BelongingInput(Input[NewBelonging]):
    """What was found: a thing with the place it is kept, or data, wiped or not."""

    what = serializers.ChoiceField(Belonging.What.choices)
    kept_at = optional_text(120, help_text="The place it is kept; needed for things and documents.")
    wiped = serializers.BooleanField(
        required=False, allow_null=True, help_text="For data only; null: not known yet."
    )

    def errors_across(self, data: Mapping[str, Any]) -> dict[str, list[str]]:
        """Ask for the place of a thing; refuse wiping one."""
        if data.get("what") not in Belonging.THINGS:
            return {}
        errors = {}
        if not str(data.get("kept_at") or "").strip():
            errors["kept_at"] = ["Say where it is kept."]
        if data.get("wiped") is not None:
            errors["wiped"] = ["Only data can be wiped."]
        return errors


class FindingInput(Input[NewFinding]):
    """Something noticed; what a phrase has may be left out."""

    kind = serializers.ChoiceField(KINDS, required=False)
    weight = serializers.ChoiceField(WEIGHTS, required=False)
    area = serializers.ChoiceField(
        AREA_CODES, error_messages=NO_SUCH_AREA, help_text="GET /areas lists them."
    )
    noticed = serializers.CharField(
        max_length=500, required=False, help_text="What was seen or heard; no diagnosis."
    )
    circumstance = optional_text(200, help_text="As in: on full lock, moving.")
    advice = optional_text(500)
    phrase = serializers.CharField(
        max_length=LONGEST_CODE,
        required=False,
        help_text="Code of a ready phrase; it fills in what is not given.",
    )
    photo_ids = photo_ids_field()
    from_paint_survey = serializers.BooleanField(required=False)
    belonging = BelongingInput(
        required=False, help_text="Needed for the kind belongings, and for no other."
    )
    occurred_at = DeviceTimeField(required=False)

    def errors_across(self, data: Mapping[str, Any]) -> dict[str, list[str]]:
        """Ask for what neither the caller nor a phrase gives."""
        if data.get("phrase"):
            return {}
        return {name: [NEEDED] for name in ("kind", "weight", "noticed") if name not in data}


class AcknowledgeInput(StrictSerializer):
    """The dealer knows."""

    note = optional_text(500)
    told = optional_text(200, help_text="Whom the workshop told, and how; needed from a workshop.")
    occurred_at = DeviceTimeField(required=False)


class ClearInput(StrictSerializer):
    """A "do not drive" is over."""

    how = serializers.ChoiceField([(ending.value, ending.value) for ending in CLEARED])
    by = serializers.CharField(max_length=200, help_text="Who repaired it, or who transports it.")
    at = ZonedDateTimeField(
        required=False, help_text="When; now where left out. Of a transport it may be to come."
    )
    occurred_at = DeviceTimeField(required=False)


class StopWithdrawInput(StrictSerializer):
    """A "do not drive" was a mistake."""

    reason = serializers.CharField(max_length=500, help_text="Everybody who was told reads it.")
    occurred_at = DeviceTimeField(required=False)


class ReturnInput(StrictSerializer):
    """A thing was handed back."""

    returned_to = serializers.CharField(max_length=120, help_text="Who signs for it.")
    occurred_at = DeviceTimeField(required=False)


class WipedInput(StrictSerializer):
    """Data was wiped, or left as it is."""

    wiped = serializers.BooleanField()
    occurred_at = DeviceTimeField(required=False)


class PhraseChangeInput(Input[PhraseChange]):
    """What changes of a phrase."""

    group = serializers.CharField(max_length=40, required=False)
    kind = serializers.ChoiceField(KINDS, required=False)
    weight = serializers.ChoiceField(WEIGHTS, required=False)
    noticed = serializers.CharField(max_length=500, required=False)
    circumstance = optional_text(200)
    advice = optional_text(500)
    hidden = serializers.BooleanField(required=False)


class PhraseInput(Input[NewPhrase]):
    """A phrase of the workshop's own."""

    code = serializers.RegexField(
        r"^[a-z][a-z0-9_]*$",
        max_length=LONGEST_CODE,
        help_text="Small letters, digits and underscores; it stays as it is.",
    )
    group = serializers.CharField(max_length=40)
    kind = serializers.ChoiceField(KINDS)
    weight = serializers.ChoiceField(WEIGHTS)
    noticed = serializers.CharField(max_length=500)
    circumstance = optional_text(200)
    advice = optional_text(500)
