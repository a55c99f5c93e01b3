"""What is answered about work orders."""

from typing import Any

from rest_framework import serializers

from core.api.serializers import ZonedDateTimeField


class RemarkOutput(serializers.Serializer[Any]):
    """Something doubtful, and the field it is about."""

    field = serializers.CharField()
    message = serializers.CharField()


class LineOutput(serializers.Serializer[Any]):
    """The answer to one line of a batch."""

    line = serializers.IntegerField(help_text="1 for the first work order; headers do not count.")
    status = serializers.IntegerField(help_text="201, or the status it would have had alone.")
    job_id = serializers.UUIDField(allow_null=True)
    remarks = RemarkOutput(many=True)
    problem = serializers.DictField(allow_null=True, help_text="RFC 9457, where it was refused.")


class BatchOutput(serializers.Serializer[Any]):
    """The answer to a batch."""

    received = serializers.IntegerField()
    refused = serializers.IntegerField()
    lines = LineOutput(many=True)


class ColumnOutput(serializers.Serializer[Any]):
    """One column of the CSV form."""

    name = serializers.CharField()
    meaning = serializers.CharField()
    example = serializers.CharField(allow_blank=True)


class ColumnsOutput(serializers.Serializer[Any]):
    """The columns of the CSV form."""

    columns = ColumnOutput(many=True)


class ScopeChangeOutput(serializers.Serializer[Any]):
    """A change the dealer made while the car was here."""

    number = serializers.IntegerField(help_text="Of its entry in the history.")
    fields_changed = serializers.ListField(child=serializers.CharField())
    changed_at = ZonedDateTimeField()
    changed_by = serializers.CharField()
    seen_at = ZonedDateTimeField(allow_null=True, help_text="Empty: the workshop has to see it.")
    seen_by = serializers.CharField(allow_blank=True)

    def to_representation(self, instance: Any) -> dict[str, Any]:
        """Name what changed; the history has the values, for those who may see them."""
        entry = instance.entry
        return {
            "number": entry.number,
            "fields_changed": [change["field"] for change in entry.data["changes"]],
            "changed_at": entry.occurred_at,
            "changed_by": entry.actor,
            "seen_at": instance.seen_at,
            "seen_by": instance.seen_by,
        }
