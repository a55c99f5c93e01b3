"""What is answered about walk-rounds."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Annotated

from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers

from core.api.answers import Answer, Row, Rows, serializer_of
from core.api.serializers import OutputModelSerializer
from jobs.work.answers.photographs.outputs import PictureOutput, picture
from jobs.work.calc.car.areas import AREAS
from jobs.work.calc.walk_rounds import Presence
from jobs.work.models import WalkRound


@dataclass(frozen=True, slots=True, kw_only=True)
class NamedCodeOutput(Answer):
    """A code and what it stands for."""

    code: str
    name: str


@dataclass(frozen=True, slots=True, kw_only=True)
class WalkRoundItemsOutput(Answer):
    """What a walk-round looks at."""

    items: Sequence[NamedCodeOutput]
    warning_lights: Sequence[NamedCodeOutput]


@dataclass(frozen=True, slots=True, kw_only=True)
class DamageOutput(Answer):
    """Damage at one area."""

    area: str
    area_name: str
    noticed: str
    pictures: Sequence[PictureOutput]


class WalkRoundOutput(OutputModelSerializer):
    """What the car was like; null is what was not looked at."""

    warning_lights = serializers.ListField(child=serializers.CharField())
    items = serializers.DictField(
        child=serializers.ChoiceField([(presence.value, presence.value) for presence in Presence])
    )
    damage = serializers.SerializerMethodField()

    class Meta:
        model = WalkRound
        fields = (
            "id",
            "occasion",
            "mileage",
            "mileage_unit",
            "fuel_percent",
            "charge_percent",
            "keys_count",
            "warning_lights",
            "items",
            "damage",
            "notes",
            "occurred_at",
            "recorded_at",
            "actor",
        )

    @extend_schema_field(serializer_of(DamageOutput)(many=True))
    def get_damage(self, row: WalkRound) -> list[DamageOutput]:
        """Return the damage with its pictures, which come in the context by id."""
        photos = self.context["photos"]
        return [
            DamageOutput(
                area=damage["area"],
                area_name=AREAS[damage["area"]].name,
                noticed=damage["noticed"],
                pictures=[picture(photos[photo_id]) for photo_id in damage["photo_ids"]],
            )
            for damage in row.damage
        ]


@dataclass(frozen=True, slots=True, kw_only=True)
class DifferenceOutput(Answer):
    """One thing that is not as it was on arrival."""

    about: Annotated[str, "The field of the walk-round."]
    text: str


@dataclass(frozen=True, slots=True, kw_only=True)
class LightOfferOutput(Answer):
    """A red light that no finding speaks of: report it with this phrase, at this area."""

    light: str
    phrase: Annotated[str, "Its weight is do_not_drive."]
    area: str


@dataclass(frozen=True, slots=True, kw_only=True)
class WalkRoundsOutput(Answer):
    """What stands for arrival and for leaving, and what differs."""

    arrival: Annotated[Row | None, WalkRoundOutput(allow_null=True)]
    leaving: Annotated[Row | None, WalkRoundOutput(allow_null=True)]
    earlier: Annotated[
        Rows, WalkRoundOutput(many=True, help_text="Corrected by a later one, oldest first.")
    ]
    differences: Sequence[DifferenceOutput]
    remarks: Annotated[Sequence[str], "What is doubtful beside the order."]
    findings_to_report: Annotated[
        Sequence[LightOfferOutput],
        "Red lights of the newest walk-round; POST …/findings with each.",
    ]
