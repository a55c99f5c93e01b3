"""Django's admin as the operator has it."""

from typing import Any

from django.contrib.admin.apps import AdminConfig
from django.contrib.admin.sites import AdminSite
from django.http import HttpRequest
from django.template.response import TemplateResponse

from core.pages import forget_kept


class OperatorSite(AdminSite):
    """The operator's pages; a browser keeps nothing of them after the sign-out."""

    site_header = site_title = "Shutline"
    index_title = "Operator"
    site_url = None  # there is no page of ours at /

    def logout(
        self, request: HttpRequest, extra_context: dict[str, Any] | None = None
    ) -> TemplateResponse:
        """End the sign-in and have the browser empty its cache."""
        return forget_kept(super().logout(request, extra_context))


class OperatorPages(AdminConfig):
    """Has our site take the place of Django's own."""

    default_site = "accounts.operator_site.OperatorSite"
