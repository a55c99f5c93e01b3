"""What is said of a task."""

from collections.abc import Mapping
from typing import Any

from rest_framework import serializers

from core.api.serializers import DeviceTimeField, StrictSerializer
from jobs.work.calc.catalogue.workshop import LONGEST_CODE
from jobs.work.inputs.jobs import MOST_MINUTES, optional_text


class TaskInput(StrictSerializer):
    """An operation to add."""

    operation = serializers.CharField(
        max_length=LONGEST_CODE, help_text="Its code; GET /operations lists them."
    )
    planned_minutes = serializers.IntegerField(required=False, min_value=1, max_value=MOST_MINUTES)
    note = optional_text(300)
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
    note = optional_text(300)

    def errors_across(self, data: Mapping[str, Any]) -> dict[str, list[str]]:
        """Refuse a person where everybody is meant."""
        if data.get("person_id") and data.get("done") is not False:
            return {"person_id": ["Name a person with done=false only: else it ends for all."]}
        return {}
