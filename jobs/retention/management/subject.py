"""What the commands for export and erasure share: who is meant, and what is kept of them."""

from collections import Counter
from dataclasses import dataclass
from itertools import chain
from typing import Any

from django.core.management.base import CommandError, CommandParser

from accounts.models import Organisation, Person
from accounts.selectors import organisation_find
from jobs.retention.selectors.subjects import person_called, rows_naming, rows_of, rows_of_nobody
from jobs.retention.services.words import Words, words_found


@dataclass(frozen=True, slots=True)
class Subject:
    """A person who signs in, an organisation, or somebody who is only written about there."""

    person: Person | None
    organisation: Organisation | None
    words: tuple[str, ...]

    @property
    def called(self) -> str:
        """Return what has to be repeated to confirm an erasure."""
        if self.person is not None:
            return self.person.email
        name = self.organisation.name if self.organisation else ""
        return self.words[0] if self.words else name

    @property
    def place(self) -> Organisation:
        """Return the organisation that was named. Raises CommandError where it was a person."""
        if self.organisation is None:
            raise CommandError("Give --organisation.")
        return self.organisation

    def counted(self) -> dict[str, int]:
        """Return how many rows of each table are theirs, or name them."""
        count: Counter[str] = Counter()
        if self.person is None and not self.words:
            for found in rows_of(self.place):
                count[found.label] += found.rows.count()
            return dict(count)
        return self._named()

    def _named(self) -> dict[str, int]:
        words, place = list(self.words), self.organisation
        keys: set[tuple[str, Any]] = set()
        if self.person is not None:
            words, place = [self.person.name, self.person.email, *words], self.person.organisation
            for found in rows_naming(self.person):
                keys |= {(found.label, pk) for pk in found.rows.values_list("pk", flat=True)}
        for found in chain(rows_of(place) if place else (), rows_of_nobody()):
            keys |= {(found.label, row.pk) for row in words_found(found, Words(words))}
        return dict(Counter(label for label, _ in keys))


def add_subject(parser: CommandParser) -> None:
    """Add the ways to say who is meant."""
    parser.add_argument("--person", help="The e-mail address that somebody signs in with.")
    parser.add_argument("--organisation", help="A dealer or workshop: its exact name or its id.")
    parser.add_argument(
        "--words",
        action="append",
        default=[],
        help="With --organisation: somebody who is only written about there, as the name, address "
        "or number was written; as often as there are ways. With --person: other spellings.",
    )


def subject_of(options: dict[str, Any]) -> Subject:
    """Return who is meant. Raises CommandError, NotFound."""
    person, organisation, words = options["person"], options["organisation"], options["words"]
    if bool(person) == bool(organisation):
        raise CommandError("Give either --person or --organisation.")
    if words and not any(len(word.strip()) >= 3 for word in words):  # noqa: PLR2004  see Words
        raise CommandError("Give --words of three characters or more.")
    return Subject(
        person_called(person) if person else None,
        organisation_find(wanted=organisation) if organisation else None,
        tuple(words),
    )
