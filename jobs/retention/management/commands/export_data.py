"""Writes all that is kept of a person, a dealer or a workshop into a ZIP file."""

from pathlib import Path
from typing import Any

from django.core.management.base import CommandParser

from accounts.management.printing import AccountCommand
from jobs.retention.management.subject import Subject, add_subject, subject_of
from jobs.retention.services.export import (
    Exported,
    contact_export,
    organisation_export,
    person_export,
)
from jobs.retention.services.words import Words


class Command(AccountCommand):
    help = "Write all that is kept of somebody into a ZIP file. Look at it before you hand it out."

    def add_arguments(self, parser: CommandParser) -> None:
        super().add_arguments(parser)
        add_subject(parser)
        parser.add_argument("--to", required=True, help="The file to write; it must not be there.")

    def work(self, **options: Any) -> dict[str, Any]:
        subject, path = subject_of(options), Path(options["to"])
        done = _export(subject, path)
        return {"file": str(path), "rows": done.rows, "pictures": done.pictures}

    def sentence(self, result: dict[str, Any]) -> str:
        return f"{result['file']}: {result['rows']} rows, {result['pictures']} pictures."


def _export(subject: Subject, path: Path) -> Exported:
    if subject.person is not None:
        return person_export(person=subject.person, path=path)
    if subject.words:
        words = Words(subject.words)
        return contact_export(organisation=subject.place, words=words, path=path)
    return organisation_export(organisation=subject.place, path=path)
