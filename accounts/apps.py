"""The accounts app."""

from typing import Any

from django.apps import AppConfig
from django.db import connections
from django.db.models.signals import post_migrate, pre_migrate

from accounts import pages_version
from core.api.enum_names import register_enum_names
from core.periodic import register_periodic

PERSONS_PAGES = "SELECT {row}.organisation_id AS id"
PARTNERS_PAGES = (
    "SELECT {row}.id AS id"
    " UNION SELECT t.dealer_id FROM accounts_tradeaccount t WHERE t.workshop_id = {row}.id"
    " UNION SELECT t.workshop_id FROM accounts_tradeaccount t WHERE t.dealer_id = {row}.id"
)


class AccountsConfig(AppConfig):
    """Organisations, trade accounts, people, keys."""

    name = "accounts"

    def ready(self) -> None:
        from accounts import guard, schema  # noqa: F401, PLC0415  listens; describes our sign-ins
        from accounts.navigation import Audience, Place, register_places  # noqa: PLC0415  the same
        from core.epoch import register_epoch_begun  # noqa: PLC0415  the same

        pages_version.show_table("accounts_person", PERSONS_PAGES, only=["name"])
        pages_version.show_table("accounts_organisation", PARTNERS_PAGES, only=["name"])
        pre_migrate.connect(let_tables_change, sender=self)
        post_migrate.connect(count_changes, sender=self)
        register_epoch_begun(pages_version.count_far_on)
        register_places(Audience.DEALER, Place("keys", "Keys", 70))
        register_periodic("purge-sign-ins", "accounts.tasks.purge_sign_ins", seconds=3600.0)
        register_enum_names({"KeyStateEnum": ["usable", "expired", "revoked"]})


def let_tables_change(*, using: str, plan: Any, **_: Any) -> None:
    """Drop the triggers before migrations on SQLite, which makes tables anew to change them."""
    if plan and connections[using].vendor == "sqlite":
        pages_version.triggers_drop(using)


def count_changes(*, using: str, **_: Any) -> None:
    """Have what is shown counted, now that all tables are as they shall be."""
    pages_version.triggers_make(using)
