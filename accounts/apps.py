"""The accounts app."""

from django.apps import AppConfig


class AccountsConfig(AppConfig):
    """Organisations, trade accounts, people, keys."""

    name = "accounts"

    def ready(self) -> None:
        from accounts import schema  # noqa: F401, PLC0415  describes our sign-ins to OpenAPI
