"""Makes a workshop."""

from typing import Any

from django.core.management.base import CommandParser

from accounts.management.printing import AccountCommand
from accounts.services import workshop_add


class Command(AccountCommand):
    help = "Make a workshop."

    def add_arguments(self, parser: CommandParser) -> None:
        super().add_arguments(parser)
        parser.add_argument("name")
        parser.add_argument(
            "--contact-email", default="", help="Who is told when its endpoints fail."
        )

    def work(self, **options: Any) -> dict[str, Any]:
        workshop = workshop_add(name=options["name"], contact_email=options["contact_email"])
        return {"id": workshop.pk, "kind": workshop.kind, "name": workshop.name}

    def sentence(self, result: dict[str, Any]) -> str:
        return f"Made the workshop {result['name']} with the id {result['id']}."
