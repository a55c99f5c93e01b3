"""What people type on the pages about people; keys and the sign-in take what the API takes."""

from collections.abc import Mapping
from typing import Any, ClassVar

from rest_framework import serializers

from accounts.inputs import MAX_PASSWORD_LENGTH, KeyInput, TradeAccountInput
from accounts.models import Person
from accounts.services.checks import MAX_NAME_LENGTH
from accounts.services.devices import MAX_DEVICE_NAME_LENGTH
from accounts.services.people import password_error
from accounts.services.pins import pin_error
from core.api.serializers import NameField, StrictSerializer

# How long a key may last, in days; "": it does not end.
LASTS = (("90", "90 days"), ("365", "a year"), ("730", "two years"), ("", "without an end"))


def password_field() -> serializers.CharField:
    """Return a field that takes a password exactly as it is typed."""
    return serializers.CharField(max_length=MAX_PASSWORD_LENGTH, trim_whitespace=False)


class DeviceInput(StrictSerializer):
    """A browser to make the workshop's tablet."""

    name = NameField(max_length=MAX_DEVICE_NAME_LENGTH)


class _TwiceInput(StrictSerializer):
    """Something secret that is typed twice, shown to be one's own by the password."""

    what: ClassVar[str]

    def errors_across(self, data: Mapping[str, Any]) -> dict[str, list[str]]:
        """Find what was typed differently the second time."""
        same = data.get(self.what) == data.get("again")
        return {} if same else {"again": ["Not the same as above. Type it again."]}


class PinInput(_TwiceInput):
    """One's own PIN."""

    what: ClassVar[str] = "pin"
    pin = serializers.CharField(max_length=MAX_PASSWORD_LENGTH)
    again = serializers.CharField(max_length=MAX_PASSWORD_LENGTH)
    current = password_field()

    def validate_pin(self, pin: str) -> str:
        """Refuse one that is too short, too long or too easy."""
        return _passed(pin, pin_error(pin))


class PasswordInput(_TwiceInput):
    """One's own new password."""

    what: ClassVar[str] = "password"
    current = password_field()
    password = password_field()
    again = password_field()

    def validate_password(self, password: str) -> str:
        """Refuse one that is too short or too common."""
        return _passed(password, password_error(password))


def _passed(value: str, error: str) -> str:
    if error:
        raise serializers.ValidationError(error)
    return value


class PersonInput(StrictSerializer):
    """Somebody who will sign in."""

    name = NameField(max_length=MAX_NAME_LENGTH)
    email = serializers.EmailField(max_length=254)


class ColleagueInput(PersonInput):
    """Somebody of one's own organisation who will sign in."""

    role = serializers.ChoiceField(choices=Person.Role.choices)


class PersonChangeInput(StrictSerializer):
    """What may be changed about somebody."""

    name = NameField(max_length=MAX_NAME_LENGTH)
    role = serializers.ChoiceField(choices=Person.Role.choices)
    is_active = serializers.BooleanField()


class DealerInput(TradeAccountInput):
    """A dealer to open an account for."""

    name = NameField(max_length=MAX_NAME_LENGTH)
    contact_email = serializers.EmailField(required=False, default="")


class AccountInput(TradeAccountInput):
    """What a workshop may change about a trade account."""

    active = serializers.BooleanField()


class KeyFormInput(KeyInput):
    """A key to make; how long it lasts is chosen, not dated."""

    expires_at = None  # type: ignore[assignment]  # so DRF leaves a field of the base out
    lasts = serializers.ChoiceField(choices=LASTS, required=False, default="")
