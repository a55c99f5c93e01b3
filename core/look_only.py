"""Admin pages that show rows and change nothing, for what only services may write."""

from typing import TYPE_CHECKING, Any

from django.contrib import admin
from django.db.models import Model
from django.http import HttpRequest

if TYPE_CHECKING:
    _Admin = admin.ModelAdmin[Any]
    _Inline = admin.TabularInline[Any, Any]
else:  # Django's classes take no parameters when the program runs
    _Admin = admin.ModelAdmin
    _Inline = admin.TabularInline


class LookOnly:
    """Takes the permissions to add, change and delete away from everybody."""

    def has_add_permission(self, request: HttpRequest, obj: Model | None = None) -> bool:
        del request, obj
        return False

    def has_change_permission(self, request: HttpRequest, obj: Model | None = None) -> bool:
        del request, obj
        return False

    def has_delete_permission(self, request: HttpRequest, obj: Model | None = None) -> bool:
        del request, obj
        return False


class LookOnlyAdmin(LookOnly, _Admin):
    """Lists rows and shows one."""


class LookOnlyInline(LookOnly, _Inline):
    """Shows the rows that belong to another."""

    extra = 0
