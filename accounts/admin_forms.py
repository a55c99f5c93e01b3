"""The forms of the operator's pages: people who sign in by e-mail, keys with scopes to tick."""

from typing import Any

from django import forms
from django.contrib.admin.forms import AdminAuthenticationForm
from django.contrib.auth.forms import BaseUserCreationForm, UserChangeForm
from django.core.exceptions import ValidationError

from accounts.caller import Scope, Side
from accounts.models import SIDE_SCOPES, ApiKey, Organisation, Person
from accounts.services import role_error, scope_error
from core.clock import now


class SignInForm(AdminAuthenticationForm):
    """The operator's sign-in; addresses are kept in small letters, however they are typed."""

    def clean_username(self) -> str:
        """Return the address as it is kept, so that tries are counted under one name."""
        return str(self.cleaned_data["username"]).lower()


class _PersonForm:
    """What making and changing a person have in common."""

    cleaned_data: dict[str, Any]

    def clean_email(self) -> str:
        """Return the address in small letters, as people are kept."""
        return str(self.cleaned_data["email"]).lower()

    def check_place(self) -> None:
        """Refuse a role that the organisation does not have, and a person without a place."""
        organisation: Organisation | None = self.cleaned_data.get("organisation")
        role = self.cleaned_data.get("role", "")
        operator = self.cleaned_data.get("is_staff", False)
        if organisation is not None:
            wrong = role_error(organisation.kind, role)
            if wrong:
                raise ValidationError({"role": wrong})
        elif role:
            raise ValidationError({"organisation": "A role needs an organisation."})
        elif not operator:
            raise ValidationError(
                {"organisation": "Choose one; only an operator belongs to no organisation."}
            )


class PersonAddForm(_PersonForm, BaseUserCreationForm):  # type: ignore[type-arg]  # subscripts for the checker only
    """A new person, with a password typed twice."""

    class Meta:
        model = Person
        fields = ("name", "email", "organisation", "role", "is_staff")

    def clean(self) -> dict[str, Any]:
        """Check the place together with the passwords."""
        cleaned = super().clean()
        self.check_place()
        return cleaned or self.cleaned_data


class PersonChangeForm(_PersonForm, UserChangeForm):  # type: ignore[type-arg]  # subscripts for the checker only
    """A person; the password is changed on a page of its own."""

    class Meta:
        model = Person
        fields = "__all__"

    def clean(self) -> dict[str, Any]:
        """Check the place as it will be."""
        cleaned = super().clean()
        self.check_place()
        return cleaned or self.cleaned_data


def scope_choices() -> list[tuple[str, list[tuple[str, str]]]]:
    """Return the scopes in groups: of both sides, of a dealer, of a workshop."""
    dealer, workshop = SIDE_SCOPES[Side.DEALER], SIDE_SCOPES[Side.WORKSHOP]
    groups = (
        ("Dealer or workshop", dealer & workshop),
        ("Dealer only", dealer - workshop),
        ("Workshop only", workshop - dealer),
    )
    return [
        (title, [(scope.value, scope.value) for scope in Scope if scope in group])
        for title, group in groups
    ]


class KeyAddForm(forms.ModelForm):  # type: ignore[type-arg]  # subscripts for the checker only
    """A new key."""

    scopes = forms.MultipleChoiceField(
        choices=scope_choices, widget=forms.CheckboxSelectMultiple, help_text="What it may do."
    )

    class Meta:
        model = ApiKey
        fields = ("organisation", "name", "scopes", "expiry_date")

    def clean(self) -> dict[str, Any]:
        """Refuse scopes of the other side and a time that is past."""
        cleaned = super().clean() or self.cleaned_data
        organisation: Organisation | None = cleaned.get("organisation")
        if organisation is not None and cleaned.get("scopes"):
            wrong = scope_error(organisation.kind, cleaned["scopes"])
            if wrong:
                self.add_error("scopes", wrong)
        expiry = cleaned.get("expiry_date")
        if expiry is not None and expiry <= now():
            self.add_error("expiry_date", "This time is past.")
        return cleaned
