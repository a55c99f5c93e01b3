"""The operator's pages: organisations, trade accounts, people and keys."""

from typing import Any, ClassVar

from axes.models import AccessFailureLog
from django.apps import apps
from django.contrib import admin
from django.contrib.auth.admin import UserAdmin
from django.contrib.auth.models import Group
from django.db.models import QuerySet
from django.forms import ModelForm
from django.http import HttpRequest
from rest_framework_api_key.admin import APIKeyModelAdmin
from rest_framework_api_key.models import APIKey

from accounts.admin_forms import KeyAddForm, PersonAddForm, PersonChangeForm, SignInForm
from accounts.models import ApiKey, Organisation, Person, TradeAccount
from accounts.selectors import key_state
from accounts.services import ways_in_close

admin.site.login_form = SignInForm
apps.get_app_config("axes").verbose_name = "Sign-ins"

# The library's own kind of key opens nothing here; roles take the place of groups; and failures
# are counted as attempts, not kept one by one.
for unused in (APIKey, Group, AccessFailureLog):
    admin.site.unregister(unused)


class NeverDeleted:
    """Kept for the history: closed, deactivated or revoked, but not deleted."""

    def has_delete_permission(self, request: HttpRequest, obj: Any = None) -> bool:
        """Refuse to delete."""
        del request, obj
        return False


@admin.register(Organisation)
class OrganisationAdmin(NeverDeleted, admin.ModelAdmin):  # type: ignore[type-arg]  # subscripts for the checker only
    """Dealers and workshops."""

    list_display = ("name", "kind", "contact_email", "created_at")
    list_filter = ("kind",)
    search_fields = ("name", "contact_email")
    ordering = ("name",)
    fields = ("kind", "name", "contact_email")

    def get_readonly_fields(
        self, request: HttpRequest, obj: Organisation | None = None
    ) -> tuple[str, ...]:
        """Fix the kind once made: everything else hangs on it."""
        del request
        return () if obj is None else ("kind",)


@admin.register(TradeAccount)
class TradeAccountAdmin(NeverDeleted, admin.ModelAdmin):  # type: ignore[type-arg]  # subscripts for the checker only
    """What a dealer and a workshop have agreed."""

    list_display = ("dealer", "workshop", "accepts_by_itself", "active", "created_at")
    list_filter = ("active", "accepts_by_itself")
    search_fields = ("dealer__name", "workshop__name")
    list_select_related = ("dealer", "workshop")
    autocomplete_fields = ("dealer", "workshop")
    fields = ("dealer", "workshop", "accepts_by_itself", "active")

    def get_readonly_fields(
        self, request: HttpRequest, obj: TradeAccount | None = None
    ) -> tuple[str, ...]:
        """Fix the two sides once made: jobs stand on them."""
        del request
        return () if obj is None else ("dealer", "workshop")


@admin.register(Person)
class PersonAdmin(NeverDeleted, UserAdmin):  # type: ignore[type-arg]  # subscripts for the checker only
    """People who sign in."""

    form = PersonChangeForm
    add_form = PersonAddForm
    list_display = ("name", "email", "organisation", "role", "is_active", "last_login")
    list_filter = ("role", "is_active", "is_staff")
    list_select_related = ("organisation",)
    search_fields = ("name", "email", "organisation__name")
    autocomplete_fields = ("organisation",)
    ordering = ("name",)
    filter_horizontal = ()
    readonly_fields = ("last_login", "created_at")
    fieldsets = (
        (None, {"fields": ("name", "email", "password")}),
        ("Where", {"fields": ("organisation", "role")}),
        (
            "Access",
            {
                "fields": ("is_active", "is_staff"),
                "description": "An operator may do everything on these pages. Take `is active` "
                "away from somebody who leaves: their sign-ins end at once.",
            },
        ),
        ("Dates", {"fields": ("last_login", "created_at")}),
    )
    add_fieldsets = (
        (
            None,
            {
                "classes": ("wide",),
                "fields": (
                    "name",
                    "email",
                    "organisation",
                    "role",
                    "is_staff",
                    "password1",
                    "password2",
                ),
            },
        ),
    )

    def save_model(
        self,
        request: HttpRequest,
        obj: Person,
        form: "ModelForm[Person]",
        change: bool,  # noqa: FBT001  Django's signature
    ) -> None:
        """Give an operator every permission, and take them from whoever is none."""
        obj.is_superuser = obj.is_staff
        super().save_model(request, obj, form, change)
        ways_in_close(person=obj)


@admin.register(ApiKey)
class ApiKeyAdmin(NeverDeleted, APIKeyModelAdmin):
    """Keys of systems: the secret is shown once, in the message after saving."""

    # The library types these as tuples of its own lengths.
    list_display = (  # type: ignore[assignment]
        "name",
        "prefix",
        "organisation",
        "state",
        "last_used_at",
        "expiry_date",
        "scope_names",
    )
    list_filter = ("revoked",)
    list_select_related = ("organisation",)
    search_fields = ("name", "prefix", "organisation__name")  # type: ignore[assignment]
    autocomplete_fields = ("organisation",)
    add_fields: ClassVar[tuple[str, ...]] = ("organisation", "name", "scopes", "expiry_date")

    @admin.display(description="State")
    def state(self, key: ApiKey) -> str:
        """Return whether it still opens anything, in a word."""
        return key_state(key)

    @admin.display(description="Scopes")
    def scope_names(self, key: ApiKey) -> str:
        """Return the scopes in words."""
        return ", ".join(key.scopes)

    def get_form(
        self,
        request: HttpRequest,
        obj: ApiKey | None = None,
        change: bool = False,  # noqa: FBT001, FBT002  Django's signature
        **kwargs: Any,
    ) -> "type[ModelForm[ApiKey]]":
        """Give a new key its own form."""
        if obj is None:
            kwargs["form"] = KeyAddForm
        form: type[ModelForm[ApiKey]] = super().get_form(request, obj, change, **kwargs)
        return form

    def get_fields(self, request: HttpRequest, obj: ApiKey | None = None) -> tuple[str, ...]:
        """Leave out what a new key does not have yet."""
        del request
        if obj is None:
            return self.add_fields
        return (
            "prefix",
            "organisation",
            "name",
            "scope_names",
            "created",
            "last_used_at",
            "expiry_date",
            "revoked",
        )

    def get_readonly_fields(  # type: ignore[override]  # the library's types leave None out
        self, request: HttpRequest, obj: ApiKey | None = None
    ) -> tuple[str, ...]:
        """Fix whose key it is and what it may do: another purpose needs another key."""
        if obj is None:
            return ()
        fixed = ("organisation", "scope_names", "created", "last_used_at")
        return (*super().get_readonly_fields(request, obj), *fixed)

    def get_queryset(self, request: HttpRequest) -> QuerySet[ApiKey]:
        """Leave the hash where it is."""
        keys: QuerySet[ApiKey] = super().get_queryset(request).defer("hashed_key")
        return keys
