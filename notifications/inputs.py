"""What a caller may send to the notices API: every field checked, every error told at once."""

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers

from core.api.serializers import Input, StrictSerializer, ZonedDateTimeField
from core.epoch import MAX_CURSOR
from core.outbound.addresses import LONGEST_URL
from notifications.addresses import usable_url
from notifications.catalogue import event_types
from notifications.models import Endpoint
from notifications.services.endpoints import EndpointChange

MOST_TYPES = 100
FEED_PAGE = 100
MAX_FEED_PAGE = 500


@extend_schema_field(
    {
        "type": "string",
        "format": "uri",
        "maxLength": LONGEST_URL,
        "description": "Where notices are posted to: https, and reachable from the internet.",
    }
)
class UrlField(serializers.CharField):
    """A URL that notices may be sent to."""

    def to_internal_value(self, data: Any) -> str:
        try:
            return usable_url(super().to_internal_value(data))
        except ValueError as error:
            raise serializers.ValidationError(str(error)) from error


class EventTypeField(serializers.ChoiceField):
    """The name of an event type in the catalogue, as it stands when the field is made."""

    def __init__(self, **kwargs: Any) -> None:
        names = list(event_types())
        unknown = "There is no event type called {input}. There are: " + ", ".join(names) + "."
        super().__init__(choices=names, error_messages={"invalid_choice": unknown}, **kwargs)


def types_field(*, at_least: int = 0, help_text: str, **more: Any) -> serializers.ListField:
    """Return a field for a list of event types."""
    return serializers.ListField(
        child=EventTypeField(),
        min_length=at_least,
        max_length=MOST_TYPES,
        help_text=help_text,
        **more,
    )


class OnOffField(serializers.ChoiceField):
    """The two states an owner may choose."""

    def __init__(self, **kwargs: Any) -> None:
        on, off = Endpoint.State.ON.value, Endpoint.State.OFF.value
        super().__init__(choices=[on, off], **kwargs)


def description_field() -> serializers.CharField:
    """Return a field for a note of the owner's."""
    return serializers.CharField(
        max_length=200, required=False, allow_blank=True, help_text="A note of your own."
    )


class EndpointInput(StrictSerializer):
    """What every kind of endpoint has in common."""

    def validate_event_types(self, names: list[str]) -> list[str]:
        """Name each type once, in the order given."""
        return list(dict.fromkeys(names))


class WebhookEndpointInput(EndpointInput):
    """A new webhook endpoint."""

    url = UrlField(source="address")
    description = description_field()
    event_types = types_field(
        default=list, help_text="Left out or empty: every type, those to come included."
    )


class WebhookEndpointChangeInput(Input[EndpointChange], EndpointInput):
    """Changes to a webhook endpoint; what is left out stays as it is."""

    url = UrlField(source="address", required=False)
    description = description_field()
    event_types = types_field(required=False, help_text="Empty: every type.")
    state = OnOffField(
        required=False,
        help_text="Off: nothing is sent, and what waits is stopped. On: failures are forgotten.",
    )


class EmailRecipientInput(EndpointInput):
    """A new e-mail recipient."""

    email = serializers.EmailField(source="address", max_length=254)
    description = description_field()
    event_types = types_field(
        at_least=1, help_text="What is worth a message to a person; at least one type."
    )


class EmailRecipientChangeInput(Input[EndpointChange], EndpointInput):
    """Changes to an e-mail recipient; what is left out stays as it is."""

    email = serializers.EmailField(source="address", max_length=254, required=False)
    description = description_field()
    event_types = types_field(at_least=1, required=False, help_text="At least one type.")
    state = OnOffField(required=False, help_text="Off: nothing is sent; what waits is stopped.")


class RotateInput(StrictSerializer):
    """How to rotate a secret."""

    replace_newest = serializers.BooleanField(
        default=False,
        help_text=(
            "Rotated within the last 24 hours, and the newest secret never reached you: replace "
            "it; the one before signs on to its time."
        ),
    )


class RangeReplayInput(StrictSerializer):
    """Which of the past events to send again."""

    to = ZonedDateTimeField(source="until", help_text="Recorded before this instant.")
    event_types = types_field(
        default=list, help_text="Left out or empty: every type the endpoint takes."
    )
    only_failed = serializers.BooleanField(
        default=False,
        help_text=(
            "Leave out what arrived or is on its way. What happened while the endpoint was off "
            "counts as failed."
        ),
    )
    after = serializers.IntegerField(
        default=0,
        min_value=0,
        max_value=MAX_CURSOR,
        help_text="The cursor of the answer before, where it said there is more.",
    )

    def get_fields(self) -> dict[str, serializers.Field[Any, Any, Any, Any]]:
        """Add `from`, which Python's grammar keeps out of the class body."""
        since = ZonedDateTimeField(
            source="since", help_text="Recorded by this service at or after this instant."
        )
        return {"from": since, **super().get_fields()}

    def errors_across(self, data: Mapping[str, Any]) -> dict[str, list[str]]:
        """Refuse a range that ends before it begins."""
        since, until = (self._instant(data.get(name)) for name in ("from", "to"))
        if since is not None and until is not None and until <= since:
            return {"to": ["The range ends before it begins: give a `to` later than `from`."]}
        return {}

    @staticmethod
    def _instant(value: Any) -> datetime | None:
        try:
            return ZonedDateTimeField().to_internal_value(value)
        except serializers.ValidationError:
            return None  # the field itself says what is wrong with it


class FeedQuery(StrictSerializer):
    """Where in the feed to go on, and how far."""

    after = serializers.IntegerField(
        required=False,
        default=None,
        min_value=0,
        max_value=MAX_CURSOR,
        help_text="The cursor of the answer before; left out: from the oldest event that is kept.",
    )
    limit = serializers.IntegerField(
        default=FEED_PAGE, min_value=1, max_value=MAX_FEED_PAGE, help_text="How many at most."
    )
