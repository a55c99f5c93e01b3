"""What a caller may send with a photograph."""

from collections.abc import Mapping
from typing import Any

from rest_framework import serializers

from core.api.serializers import DeviceTimeField, StrictSerializer
from jobs.work.calc.car.areas import AREAS
from jobs.work.calc.car.views import VIEWS
from jobs.work.models import Photo

MOMENTS = (Photo.Moment.BEFORE, Photo.Moment.AFTER, Photo.Moment.DETAIL)


class PhotoInput(StrictSerializer):
    """A photograph and what it shows."""

    file = serializers.FileField(
        help_text="JPEG, PNG, WebP or HEIC, told by what it is and not by its name.",
        error_messages={"empty": "The file is empty; take the photograph again and send that."},
    )
    client_id = serializers.UUIDField(
        help_text="Made by the device for this photograph; kept when it is sent again."
    )
    moment = serializers.ChoiceField(
        choices=[(moment.value, moment.label) for moment in MOMENTS],
        help_text="A before and an after of one view are put side by side.",
    )
    view = serializers.ChoiceField(
        choices=list(VIEWS.items()),
        required=False,
        help_text="From where; needed for before and after. Left and right as from the "
        "driver's seat.",
    )
    area = serializers.ChoiceField(
        choices=[(area.code, area.name) for area in AREAS.values()],
        required=False,
        help_text="What of the vehicle it shows.",
    )
    caption = serializers.CharField(max_length=200, required=False, allow_blank=True)
    occurred_at = DeviceTimeField(required=False, help_text="When it was taken.")

    def errors_across(self, data: Mapping[str, Any]) -> dict[str, list[str]]:
        if data.get("moment") in {Photo.Moment.BEFORE, Photo.Moment.AFTER} and not data.get("view"):
            return {"view": ["A before or an after needs its view, to find the other by."]}
        return {}
