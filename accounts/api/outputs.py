"""What callers see of accounts."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Annotated
from uuid import UUID

from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers

from accounts.caller import Scope, Side
from accounts.models import ApiKey, Organisation, Person, TradeAccount
from accounts.selectors import KEY_STATES, key_state
from core.api.answers import Answer, Row
from core.api.serializers import OutputModelSerializer, ZonedDateTimeField


class OrganisationOutput(OutputModelSerializer):
    """A dealer or a workshop, by name."""

    class Meta:
        model = Organisation
        fields = ("id", "name")


@dataclass(frozen=True, slots=True, kw_only=True)
class SessionOutput(Answer):
    """Who is calling, and what they may do."""

    name: str
    organisation: Annotated[Row, OrganisationOutput()]
    side: Annotated[str, serializers.ChoiceField([side.value for side in Side])]
    role: Annotated[
        str, serializers.ChoiceField(["", *Person.Role.values], help_text="Empty for a key.")
    ]
    person_id: Annotated[UUID | None, "Empty for a key."]
    key_prefix: Annotated[str, "Empty for a person."]
    scopes: Annotated[
        Sequence[str],
        serializers.ListField(child=serializers.ChoiceField([scope.value for scope in Scope])),
    ]
    csrf_token: Annotated[
        str, "Send it as X-CSRFToken with every write. Empty for a key, which needs none."
    ]


class KeyOutput(OutputModelSerializer):
    """A key without its secret."""

    scopes = serializers.ListField(child=serializers.CharField())
    state = serializers.SerializerMethodField()
    made_by = serializers.SerializerMethodField()
    created_at = ZonedDateTimeField(source="created")
    expires_at = ZonedDateTimeField(source="expiry_date", allow_null=True)

    class Meta:
        model = ApiKey
        fields = (
            "prefix",
            "name",
            "scopes",
            "state",
            "created_at",
            "expires_at",
            "last_used_at",
            "made_by",
        )

    @extend_schema_field(serializers.ChoiceField(choices=KEY_STATES))
    def get_state(self, key: ApiKey) -> str:
        """Return whether the key still opens anything."""
        return key_state(key)

    def get_made_by(self, key: ApiKey) -> str:
        """Return the name of whoever made it and binds it; empty: the operator."""
        return key.made_by.name if key.made_by else ""


class FreshKeyOutput(KeyOutput):
    """A key just made, with its secret."""

    key = serializers.CharField(help_text="Shown this once: keep it where only its system reads.")

    class Meta(KeyOutput.Meta):
        fields = (*KeyOutput.Meta.fields, "key")  # type: ignore[assignment]


class TradeAccountOutput(serializers.ModelSerializer[TradeAccount]):
    """What a dealer and a workshop have agreed."""

    dealer = OrganisationOutput()
    workshop = OrganisationOutput()
    created_at = ZonedDateTimeField()

    class Meta:
        model = TradeAccount
        fields = ("id", "dealer", "workshop", "accepts_by_itself", "active", "created_at")
