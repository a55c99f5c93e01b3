"""What a workshop may send about dirt and minutes, and ask about how long work takes."""

from collections.abc import Mapping
from typing import Any

from rest_framework import serializers

from core.api.serializers import DeviceTimeField, StrictSerializer
from jobs.work.calc.catalogue.workshop import LONGEST_CODE, MOST_STANDARD_MINUTES
from jobs.work.calc.minutes.soiling import LEVELS
from jobs.work.inputs.jobs import LONGEST_REASON
from jobs.work.models import Job

YES = {str(value).lower() for value in serializers.BooleanField.TRUE_VALUES}
ONE_ANSWER = "Say right, or how many minutes it really took: one of the two."


def _level(**more: Any) -> serializers.IntegerField:
    return serializers.IntegerField(min_value=min(LEVELS), max_value=max(LEVELS), **more)


class SoilingInput(StrictSerializer):
    """How dirty the car came in."""

    level = _level(help_text="From 1 to 5, as GET /soiling-levels describes them.")
    occurred_at = DeviceTimeField(required=False)


class MinutesInput(StrictSerializer):
    """Whether a task's minutes are right, or what it really took."""

    right = serializers.BooleanField(
        required=False, help_text="True: the minutes that were measured are right."
    )
    minutes = serializers.IntegerField(
        required=False,
        min_value=1,
        max_value=MOST_STANDARD_MINUTES,
        help_text="Person-minutes it really took; those measured stay beside them.",
    )
    reason = serializers.CharField(max_length=LONGEST_REASON, required=False, allow_blank=True)
    occurred_at = DeviceTimeField(required=False)

    def errors_across(self, data: Mapping[str, Any]) -> dict[str, list[str]]:
        """Want one answer, and not both."""
        corrected = data.get("minutes") is not None and data["minutes"] != ""
        right = str(data.get("right")).lower() in YES
        return {} if corrected != right else {"minutes": [ONE_ANSWER]}


class DurationsQuery(StrictSerializer):
    """For which cars and whose work."""

    operation = serializers.CharField(
        required=False, max_length=LONGEST_CODE, help_text="The code of one operation."
    )
    body_size = serializers.ChoiceField(
        Job.BodySize.choices, required=False, help_text="Left out: as cars come here."
    )
    soiling = _level(required=False, help_text="From 1 to 5. Left out: as cars come here.")
    person = serializers.UUIDField(
        required=False, help_text="Whose work. Left out: whoever does it. Not a colleague's."
    )
