"""What is answered about walk-rounds."""

from typing import Any

from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers

from core.api.serializers import OutputModelSerializer
from jobs.work.answers.photographs.outputs import PictureOutput
from jobs.work.calc.car.areas import AREAS
from jobs.work.calc.walk_rounds import Presence
from jobs.work.models import WalkRound


class NamedCodeOutput(serializers.Serializer[Any]):
    """A code and what it stands for."""

    code = serializers.CharField()
    name = serializers.CharField()


class WalkRoundItemsOutput(serializers.Serializer[Any]):
    """What a walk-round looks at."""

    items = NamedCodeOutput(many=True)
    warning_lights = NamedCodeOutput(many=True)


class DamageOutput(serializers.Serializer[Any]):
    """Damage at one area."""

    area = serializers.CharField()
    area_name = serializers.CharField()
    noticed = serializers.CharField()
    pictures = PictureOutput(many=True)


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

    @extend_schema_field(DamageOutput(many=True))
    def get_damage(self, row: WalkRound) -> list[dict[str, Any]]:
        """Return the damage with its pictures, which come in the context by id."""
        photos = self.context["photos"]
        return [
            {
                "area": one["area"],
                "area_name": AREAS[one["area"]].name,
                "noticed": one["noticed"],
                "pictures": [
                    PictureOutput().to_representation(photos[photo_id])
                    for photo_id in one["photo_ids"]
                ],
            }
            for one in row.damage
        ]


class DifferenceOutput(serializers.Serializer[Any]):
    """One thing that is not as it was on arrival."""

    about = serializers.CharField(help_text="The field of the walk-round.")
    text = serializers.CharField()


class LightOfferOutput(serializers.Serializer[Any]):
    """A red light that no finding speaks of: report it with this phrase, at this area."""

    light = serializers.CharField()
    phrase = serializers.CharField(help_text="Its weight is do_not_drive.")
    area = serializers.CharField()


class WalkRoundsOutput(serializers.Serializer[Any]):
    """What stands for arrival and for leaving, and what differs."""

    arrival = WalkRoundOutput(allow_null=True)
    leaving = WalkRoundOutput(allow_null=True)
    earlier = WalkRoundOutput(many=True, help_text="Corrected by a later one, oldest first.")
    differences = DifferenceOutput(many=True)
    remarks = serializers.ListField(
        child=serializers.CharField(), help_text="What is doubtful beside the order."
    )
    findings_to_report = LightOfferOutput(
        many=True, help_text="Red lights of the newest walk-round; POST …/findings with each."
    )
