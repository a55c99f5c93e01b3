"""What callers send about accounts."""

from typing import Any

from rest_framework import serializers

from accounts.caller import Scope
from core.api.serializers import NameField, StrictSerializer, ZonedDateTimeField

MAX_PASSWORD_LENGTH = 256


class SignInInput(StrictSerializer):
    """Who signs in."""

    email = serializers.EmailField(max_length=254)
    password = serializers.CharField(max_length=MAX_PASSWORD_LENGTH, trim_whitespace=False)


class KeyInput(StrictSerializer):
    """A key to make."""

    name = NameField(max_length=50, help_text="Which system holds it.")
    scopes: "serializers.Field[Any, Any, Any, Any]" = serializers.ListField(
        child=serializers.ChoiceField(choices=[scope.value for scope in Scope]),
        min_length=1,
        max_length=len(Scope),
        help_text="What it may do; only scopes of your side.",
    )
    expires_at = ZonedDateTimeField(
        required=False, allow_null=True, default=None, help_text="Null: it does not expire."
    )


class TradeAccountInput(StrictSerializer):
    """What a workshop may change about a trade account."""

    accepts_by_itself = serializers.BooleanField(
        help_text="False: you are asked to accept or decline each of the dealer's orders."
    )
