"""Erases a person, a dealer or a workshop; without --confirm it only says what would go."""

from typing import Any

from django.core.management.base import CommandError, CommandParser

from accounts.management.printing import AccountCommand
from jobs.retention.management.subject import Subject, add_subject, subject_of
from jobs.retention.models import Removal
from jobs.retention.services.organisations import organisation_erase, refuse_unsettled
from jobs.retention.services.people import contact_erase, person_erase


class Command(AccountCommand):
    help = "Erase somebody for good; figures without names stay. Without --confirm: a dry run."

    def add_arguments(self, parser: CommandParser) -> None:
        super().add_arguments(parser)
        add_subject(parser)
        parser.add_argument(
            "--confirm", default="", help="The e-mail address, name or first word once more."
        )

    def work(self, **options: Any) -> dict[str, Any]:
        subject = subject_of(options)
        if options["confirm"]:
            if options["confirm"] != subject.called:
                raise CommandError(f"To erase it, write --confirm {subject.called!r}.")
            done = _erase(subject)
            return {"cars": done.cars, "rows": done.rows, "files": done.files}
        if subject.person is None and subject.organisation is not None and not subject.words:
            refuse_unsettled(subject.organisation)
        return {"would_go": subject.counted(), "confirm": subject.called}

    def sentence(self, result: dict[str, Any]) -> str:
        if "would_go" not in result:
            return f"Erased: {result['cars']} cars, {result['rows']} rows, {result['files']} files."
        lines = [f"{label}: {count}" for label, count in sorted(result["would_go"].items())]
        how = f"Nothing was changed. To erase it, add --confirm {result['confirm']!r}."
        return "\n".join([*lines, how])


def _erase(subject: Subject) -> Removal:
    if subject.person is not None:
        return person_erase(person=subject.person, more_words=subject.words)
    if subject.words:
        return contact_erase(organisation=subject.place, words=subject.words)
    return organisation_erase(organisation=subject.place)
