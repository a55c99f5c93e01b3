"""The accounts app."""

from django.apps import AppConfig

from core.api.enum_names import register_enum_names
from core.periodic import register_periodic


class AccountsConfig(AppConfig):
    """Organisations, trade accounts, people, keys."""

    name = "accounts"

    def ready(self) -> None:
        from accounts import guard, schema  # noqa: F401, PLC0415  listens; describes our sign-ins
        from accounts.navigation import Audience, Place, register_places  # noqa: PLC0415  the same

        register_places(Audience.DEALER, Place("keys", "Keys", 70))
        register_periodic("purge-sign-ins", "accounts.tasks.purge_sign_ins", seconds=3600.0)
        register_enum_names({"KeyStateEnum": ["usable", "expired", "revoked"]})
