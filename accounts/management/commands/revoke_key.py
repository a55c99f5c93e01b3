"""Revokes an API key for good."""

from typing import Any

from django.core.management.base import CommandParser

from accounts.management.printing import AccountCommand
from accounts.selectors import key_find
from accounts.services import key_revoke


class Command(AccountCommand):
    help = "Revoke an API key for good, from its next request on."

    def add_arguments(self, parser: CommandParser) -> None:
        super().add_arguments(parser)
        parser.add_argument("prefix", help="What stands before the full stop of the key.")

    def work(self, **options: Any) -> dict[str, Any]:
        # A whole key, pasted from where it leaked, is as good as its prefix.
        key = key_find(prefix=options["prefix"].partition(".")[0])
        was_revoked = key.revoked
        key_revoke(key=key)
        return {
            "prefix": key.prefix,
            "name": key.name,
            "organisation_id": key.organisation_id,
            "organisation_name": key.organisation.name,
            "was_revoked": was_revoked,
        }

    def sentence(self, result: dict[str, Any]) -> str:
        what = f"the key {result['prefix']} ({result['name']}) of {result['organisation_name']}"
        return f"{what} was revoked already." if result["was_revoked"] else f"Revoked {what}."
