"""What the account commands share: `--json` or plain text out, one clear sentence on failure."""

from abc import abstractmethod
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser

from core.api.rendering import to_json
from core.problems import Problem


class AccountCommand(BaseCommand):
    """A command that changes one thing and says what it made."""

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--json", action="store_true", help="Print one JSON object.")

    def handle(self, *_args: Any, **options: Any) -> None:
        """Do the work and print its result; a problem ends the command with exit code 1."""
        try:
            result = self.work(**options)
        except Problem as problem:
            raise CommandError(problem.detail) from problem
        shown = to_json(result).decode() if options["json"] else self.sentence(result)
        self.stdout.write(shown)

    @abstractmethod
    def work(self, **options: Any) -> dict[str, Any]:
        """Do the work; return what `--json` prints."""

    @abstractmethod
    def sentence(self, result: dict[str, Any]) -> str:
        """Return the result for a person to read."""
