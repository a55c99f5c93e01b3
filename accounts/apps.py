"""The accounts app."""

from django.apps import AppConfig


class AccountsConfig(AppConfig):
    """Organisations, trade accounts, people, keys."""

    name = "accounts"

    def ready(self) -> None:
        from accounts import guard, schema  # noqa: F401, PLC0415  listens; describes our sign-ins
