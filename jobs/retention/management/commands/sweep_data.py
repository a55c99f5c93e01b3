"""Removes what is over now, or only says what would go."""

from typing import Any

from django.core.management.base import CommandError, CommandParser

from accounts.management.printing import AccountCommand
from core.clock import now
from jobs.retention.selectors.due import due
from jobs.retention.selectors.files import loose_files, rows_without_file
from jobs.retention.services.loose_files import LEFT_ALONE
from jobs.retention.services.sweep import sweep
from jobs.work.services.photographs.files import store


class Command(AccountCommand):
    help = "Remove what is over. The service does it each night; this does all of it at once."

    def add_arguments(self, parser: CommandParser) -> None:
        super().add_arguments(parser)
        parser.add_argument("--dry-run", action="store_true", help="Change nothing, say what.")
        parser.add_argument(
            "--files",
            action="store_true",
            help="With --dry-run: look through all photographs as well, which takes its time.",
        )

    def work(self, **options: Any) -> dict[str, Any]:
        at = now()
        if not options["dry_run"]:
            done = sweep(at=at, may_go_on=lambda: True, every_step=True)
            if done.failed:
                raise CommandError(f"{', '.join(done.failed)} failed: see the log above.")
            return {"removals": [_shown(removal) for removal in done.removals]}
        found: dict[str, Any] = {"would_go": list(due(at))}
        if options["files"]:
            found["files_without_row"] = list(loose_files(store(), before=at - LEFT_ALONE))
            found["rows_without_file"] = list(rows_without_file(store()))
        return found

    def sentence(self, result: dict[str, Any]) -> str:
        lines = [_line(item) for item in result.get("would_go", [])]
        lines += [
            f"{gone['step']}: {gone['cars']} cars, {gone['rows']} rows, {gone['files']} files"
            for gone in result.get("removals", [])
        ]
        lines += [f"file without a row: {name}" for name in result.get("files_without_row", [])]
        lines += [f"row without a file: {name}" for name in result.get("rows_without_file", [])]
        return "\n".join(lines) or "Nothing is over."


def _line(item: Any) -> str:
    where = f" at {item.workshop}" if item.workshop else ""
    since = f", the oldest from {item.oldest:%Y-%m-%d}" if item.oldest else ""
    kept = f"; {item.kept} stay, since something is not settled" if item.kept else ""
    return f"{item.kind}{where}: {item.count}{since}{kept}"


def _shown(removal: Any) -> dict[str, Any]:
    names = ("step", "cars", "rows", "files", "oldest", "newest", "started_at", "finished_at")
    return {name: getattr(removal, name) for name in names}
