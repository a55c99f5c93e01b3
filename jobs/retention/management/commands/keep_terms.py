"""Shows for how long each kind of data is kept, and sets a workshop's own term."""

from typing import Any

from django.conf import settings
from django.core.management.base import CommandError, CommandParser

from accounts.caller import Side
from accounts.management.printing import AccountCommand
from accounts.selectors import organisation_find
from jobs.retention.selectors.terms import own_terms
from jobs.retention.services.terms import term_set
from jobs.retention.terms import KINDS, DataKind


class Command(AccountCommand):
    help = "Show for how many days data are kept, or set it for a workshop."

    def add_arguments(self, parser: CommandParser) -> None:
        super().add_arguments(parser)
        parser.add_argument("--workshop", help="Its exact name or its id.")
        parser.add_argument("--kind", choices=[kind.value for kind in KINDS])
        parser.add_argument("--days", help="A whole number, or `as-for-all`.")

    def work(self, **options: Any) -> dict[str, Any]:
        chosen = [options["workshop"], options["kind"], options["days"]]
        if any(chosen) and not all(chosen):
            raise CommandError("Give --workshop, --kind and --days together, or none of them.")
        if all(chosen):
            workshop = organisation_find(wanted=options["workshop"], kind=Side.WORKSHOP)
            days = _days(options["days"])
            term_set(workshop=workshop, kind=DataKind(options["kind"]), days=days)
        return {
            "terms": [
                {
                    "kind": kind.value,
                    "what": about.what,
                    "runs_from": about.runs_from,
                    "days": settings.KEEP_DAYS[kind],
                    "own": {str(place): days for place, days in own_terms(kind).items()},
                }
                for kind, about in KINDS.items()
            ]
        }

    def sentence(self, result: dict[str, Any]) -> str:
        lines = []
        for term in result["terms"]:
            lines.append(f"{term['kind']}: {term['days']} days from {term['runs_from']}")
            lines += [f"    at {place}: {days} days" for place, days in term["own"].items()]
        return "\n".join(lines)


def _days(word: str) -> int | None:
    if word == "as-for-all":
        return None
    if word.isascii() and word.isdigit():
        return int(word)
    raise CommandError("--days wants a whole number, or `as-for-all`.")
