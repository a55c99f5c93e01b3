"""Makes a person who signs in for an organisation."""

import sys
from typing import Any

from django.core.management.base import CommandError, CommandParser
from django.db import transaction

from accounts.management.printing import AccountCommand
from accounts.models import Person
from accounts.selectors import organisation_find
from accounts.services import person_add, pin_set


class Command(AccountCommand):
    help = "Make a person who signs in; prints a password made here once, unless one is given."

    def add_arguments(self, parser: CommandParser) -> None:
        super().add_arguments(parser)
        parser.add_argument("name")
        parser.add_argument("--organisation", required=True, help="Its exact name or its id.")
        parser.add_argument("--email", required=True, help="What they sign in with.")
        parser.add_argument("--role", required=True, help=", ".join(Person.Role.values))
        parser.add_argument(
            "--password-stdin",
            action="store_true",
            help="Read the password from the first line of standard input.",
        )
        parser.add_argument(
            "--pin", default="", help="What changes the person at the workshop's tablet, in digits."
        )

    @transaction.atomic
    def work(self, **options: Any) -> dict[str, Any]:
        chosen = self._password() if options["password_stdin"] else ""
        organisation = organisation_find(wanted=options["organisation"])
        person, password = person_add(
            organisation=organisation,
            email=options["email"],
            name=options["name"],
            role=options["role"],
            password=chosen,
        )
        if options["pin"]:
            pin_set(person=person, pin=options["pin"])
        return {
            "id": person.pk,
            "name": person.name,
            "email": person.email,
            "role": person.role,
            "organisation_id": organisation.pk,
            "organisation_name": organisation.name,
            # Shown only where it was made here: whoever gave one knows it.
            "password": None if chosen else password,
        }

    @staticmethod
    def _password() -> str:
        password = sys.stdin.readline().rstrip("\r\n")
        if not password:
            raise CommandError("Standard input holds no password on its first line.")
        return password

    def sentence(self, result: dict[str, Any]) -> str:
        made = (
            f"Made {result['name']}, {result['role']} at {result['organisation_name']}, "
            f"who signs in as {result['email']}."
        )
        if result["password"] is None:
            return made
        return f"{made}\nThe password, shown this once: {result['password']}"
