"""Makes an API key for an organisation's system."""

from datetime import timedelta
from typing import Any

from django.core.management.base import CommandError, CommandParser

from accounts.caller import Scope
from accounts.management.printing import AccountCommand
from accounts.selectors import organisation_find
from accounts.services import key_add
from core.clock import now

MAX_DAYS = 3650


class Command(AccountCommand):
    help = "Make an API key; its secret is printed once and kept nowhere."

    def add_arguments(self, parser: CommandParser) -> None:
        super().add_arguments(parser)
        parser.add_argument("--organisation", required=True, help="Its exact name or its id.")
        parser.add_argument(
            "--scopes", required=True, help=f"Separated by commas: {', '.join(Scope)}"
        )
        parser.add_argument("--name", default="system", help="Which system holds it.")
        parser.add_argument("--expires-in-days", type=int, help="Without it, it does not expire.")

    def work(self, **options: Any) -> dict[str, Any]:
        days = options["expires_in_days"]
        if days is not None and not 1 <= days <= MAX_DAYS:
            raise CommandError(f"--expires-in-days is {days}; write 1 to {MAX_DAYS}.")
        organisation = organisation_find(wanted=options["organisation"])
        fresh = key_add(
            organisation=organisation,
            name=options["name"],
            scopes=[word.strip() for word in options["scopes"].split(",") if word.strip()],
            expires_at=None if days is None else now() + timedelta(days=days),
        )
        return {
            "prefix": fresh.key.prefix,
            "key": fresh.secret,
            "name": fresh.key.name,
            "scopes": fresh.key.scopes,
            "expires_at": fresh.key.expiry_date,
            "organisation_id": organisation.pk,
            "organisation_name": organisation.name,
        }

    def sentence(self, result: dict[str, Any]) -> str:
        expiry = result["expires_at"]
        until = f"until {expiry:%Y-%m-%d %H:%M} UTC" if expiry else "without an end"
        return (
            f"Made the key {result['prefix']} ({result['name']}) for "
            f"{result['organisation_name']}, {until}: {', '.join(result['scopes'])}.\n"
            f"The key, shown this once: {result['key']}"
        )
