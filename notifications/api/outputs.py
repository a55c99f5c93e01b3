"""What callers see of endpoints, deliveries and events; a secret only where it was just made."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Annotated, Any
from uuid import UUID

import orjson
from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers

from core.api.answers import Answer, serializer_of
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


@dataclass(frozen=True, slots=True, kw_only=True)
class TestedOutput(Answer):
    """The test notice that is on its way."""

    event_id: Annotated[UUID, "The webhook-id header it is sent with."]


@dataclass(frozen=True, slots=True, kw_only=True)
class ReplayedOutput(Answer):
    """What a replay set on its way."""

    replayed: Annotated[int, "How many notices are sent again."]
    cursor: Annotated[int, "How far this call came."]
    more: Annotated[
        bool, "There are further events in the range: send the same with after = cursor."
    ]


@extend_schema_field({"type": "object", "additionalProperties": {}})
class NoticeDataField(serializers.JSONField):
    """What `data` holds: the type's schema says it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class FeedEventOutput(Answer):
    """One event: its place in the feed, and the notice word for word."""

    position: Annotated[int, "Rises through the feed; gaps are usual."]
    id: Annotated[UUID, "The webhook-id header of the same notice."]
    type: str
    timestamp: Annotated[datetime, "When it happened."]
    data: Annotated[Any, NoticeDataField()]


@dataclass(frozen=True, slots=True, kw_only=True)
class FeedOutput(Answer):
    """A page of the feed."""

    events: Annotated[
        Sequence[orjson.Fragment],  # the notice itself, byte for byte as it is signed
        serializer_of(FeedEventOutput)(many=True),
    ]
    cursor: Annotated[int, "Send it as `after` next time."]
    more: Annotated[bool, "There is more now: ask again at once."]


@extend_schema_field({"type": "object", "additionalProperties": {}})
class SchemaField(serializers.JSONField):
    """A JSON Schema or an example of one."""


@dataclass(frozen=True, slots=True, kw_only=True)
class EventTypeOutput(Answer):
    """One type of event."""

    name: str
    summary: str
    schema: Annotated[Any, SchemaField(help_text="JSON Schema 2020-12 of the whole notice.")]
    example: Annotated[Any, SchemaField(help_text="A notice that fits the schema.")]


@dataclass(frozen=True, slots=True, kw_only=True)
class EventTypesOutput(Answer):
    """The catalogue of events."""

    event_types: Sequence[EventTypeOutput]
