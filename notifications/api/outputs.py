"""What callers see of endpoints, deliveries and events; a secret only where it was just made."""

from datetime import datetime
from typing import Any

from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers

from core.api.serializers import OutputModelSerializer
from core.clock import now
from notifications.models import Attempt, Delivery, Endpoint

ENDPOINT_FIELDS = (
    "description",
    "event_types",
    "state",
    "state_reason",
    "failing_since",
    "slowed_until",
    "created_at",
)


class WebhookEndpointOutput(OutputModelSerializer):
    """A webhook endpoint; its secret is never among the fields."""

    url = serializers.CharField(source="address")
    event_types = serializers.ListField(
        child=serializers.CharField(), help_text="Empty: every type."
    )
    old_secret_until = serializers.SerializerMethodField(
        help_text="Until then notices are signed with the secret before this one too."
    )

    class Meta:
        model = Endpoint
        fields = ("id", "url", *ENDPOINT_FIELDS, "old_secret_until")

    def get_old_secret_until(self, endpoint: Endpoint) -> datetime | None:
        """Return when the old secret ends, while there is one that signs."""
        until = endpoint.old_secret_until
        return until if until is not None and until > now() else None


class FreshWebhookEndpointOutput(WebhookEndpointOutput):
    """A webhook endpoint with its new secret, which is shown this once."""

    secret = serializers.CharField(help_text="Keep it now: it is not shown again.")

    class Meta(WebhookEndpointOutput.Meta):
        fields = (*WebhookEndpointOutput.Meta.fields, "secret")  # type: ignore[assignment]


def with_secret(endpoint: Endpoint, secret: str) -> dict[str, Any]:
    """Return what FreshWebhookEndpointOutput describes: the model's own column is encrypted."""
    return {**WebhookEndpointOutput(endpoint).data, "secret": secret}


class EmailRecipientOutput(OutputModelSerializer):
    """An e-mail recipient."""

    email = serializers.CharField(source="address")
    event_types = serializers.ListField(child=serializers.CharField())

    class Meta:
        model = Endpoint
        fields = ("id", "email", *ENDPOINT_FIELDS)


class AttemptOutput(OutputModelSerializer):
    """One try to hand a notice over."""

    class Meta:
        model = Attempt
        fields = ("id", "started_at", "milliseconds", "status", "answer", "error")


class DeliveryOutput(OutputModelSerializer):
    """One event on its way to one endpoint, with every attempt."""

    event_id = serializers.UUIDField(
        source="event.id", help_text="The webhook-id header: the same however often it is sent."
    )
    event_type = serializers.CharField(source="event.type")
    occurred_at = serializers.DateTimeField(source="event.occurred_at")
    next_attempt_at = serializers.SerializerMethodField(help_text="Null: no attempt is to come.")
    attempts = AttemptOutput(many=True)

    class Meta:
        model = Delivery
        fields = (
            "id",
            "event_id",
            "event_type",
            "occurred_at",
            "subject_id",
            "state",
            "tries",
            "next_attempt_at",
            "finished_at",
            "last_status",
            "last_error",
            "created_at",
            "attempts",
        )

    def get_next_attempt_at(self, delivery: Delivery) -> datetime | None:
        """Return when the next attempt is due, while there is one to come."""
        return delivery.next_attempt_at if delivery.state == Delivery.State.WAITING else None


class TestedOutput(serializers.Serializer[Any]):
    """The test notice that is on its way."""

    event_id = serializers.UUIDField(help_text="The webhook-id header it is sent with.")


class ReplayedOutput(serializers.Serializer[Any]):
    """What a replay set on its way."""

    replayed = serializers.IntegerField(help_text="How many notices are sent again.")
    cursor = serializers.IntegerField(help_text="How far this call came.")
    more = serializers.BooleanField(
        help_text="There are further events in the range: send the same with after = cursor."
    )


@extend_schema_field({"type": "object", "additionalProperties": {}})
class NoticeDataField(serializers.JSONField):
    """What `data` holds: the type's schema says it."""


class FeedEventOutput(serializers.Serializer[Any]):
    """One event: its place in the feed, and the notice word for word."""

    position = serializers.IntegerField(help_text="Rises through the feed; gaps are usual.")
    id = serializers.UUIDField(help_text="The webhook-id header of the same notice.")
    type = serializers.CharField()
    timestamp = serializers.DateTimeField(help_text="When it happened.")
    data = NoticeDataField()  # type: ignore[assignment]  # a field, not Serializer.data


class FeedOutput(serializers.Serializer[Any]):
    """A page of the feed."""

    events = FeedEventOutput(many=True)
    cursor = serializers.IntegerField(help_text="Send it as `after` next time.")
    more = serializers.BooleanField(help_text="There is more now: ask again at once.")


@extend_schema_field({"type": "object", "additionalProperties": {}})
class SchemaField(serializers.JSONField):
    """A JSON Schema or an example of one."""


class EventTypeOutput(serializers.Serializer[Any]):
    """One type of event."""

    name = serializers.CharField()
    summary = serializers.CharField()
    schema = SchemaField(help_text="JSON Schema 2020-12 of the whole notice.")
    example = SchemaField(help_text="A notice that fits the schema.")


class EventTypesOutput(serializers.Serializer[Any]):
    """The catalogue of events."""

    event_types = EventTypeOutput(many=True)
