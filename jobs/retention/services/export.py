"""Hands out what is kept of somebody: a ZIP with a file of JSON lines a table, and the pictures.

Secrets and hashes are never in it. Of a dealer's cars it has what the dealer is shown.
"""

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from itertools import chain
from pathlib import Path
from typing import Any
from zipfile import ZIP_DEFLATED, ZipFile

from django.db.models import Model

from accounts.models import Organisation, Person
from core.api.rendering import to_json
from core.problems import Conflict
from jobs.retention.fates import FATES
from jobs.retention.selectors.subjects import Rows, rows_naming, rows_of
from jobs.retention.services.words import Words, words_found
from jobs.work.models import Rendition
from jobs.work.services.photographs.files import file_read

# Sealed or hashed whole: they say nothing to anybody.
NEVER = frozenset({"core.IdempotentAnswer"})


@dataclass(frozen=True, slots=True)
class Exported:
    """How much was written."""

    rows: int
    pictures: int


def organisation_export(*, organisation: Organisation, path: Path) -> Exported:
    """Write all that is kept of an organisation. Raises Conflict where the file is there."""
    tables = {
        found.label: found.rows.order_by("pk").iterator(chunk_size=500)
        for found in rows_of(organisation, handed_out=True)
        if found.label not in NEVER
    }
    renditions = next(f.rows for f in rows_of(organisation) if f.label == "jobs.Rendition")
    return _write(path, tables, renditions.order_by("pk"))


def person_export(*, person: Person, path: Path) -> Exported:
    """Write all that names somebody, by their id or by their name and address."""
    words = Words([person.name, person.email])
    tables: dict[str, Iterable[Model]] = {
        found.label: found.rows.order_by("pk").iterator(chunk_size=500)
        for found in rows_naming(person)
    }
    if person.organisation is not None:
        for found in rows_of(person.organisation, handed_out=True):
            if found.label not in NEVER:
                tables[found.label] = _both(tables.get(found.label, ()), found, words)
    return _write(path, tables, ())


def contact_export(*, organisation: Organisation, words: Words, path: Path) -> Exported:
    """Write the rows of an organisation in which any of the words stands."""
    found = [f for f in rows_of(organisation, handed_out=True) if f.label not in NEVER]
    return _write(path, {each.label: words_found(each, words) for each in found}, ())


def _both(by_id: Iterable[Model], found: Rows, words: Words) -> Iterator[Model]:
    seen = set()
    for row in by_id:
        seen.add(row.pk)
        yield row
    yield from (row for row in words_found(found, words) if row.pk not in seen)


def _write(
    path: Path, tables: Mapping[str, Iterable[Model]], renditions: Iterable[Rendition]
) -> Exported:
    if path.exists():
        raise Conflict(f"{path} is there already. Name another file.")
    rows = pictures = 0
    with ZipFile(path, "x", ZIP_DEFLATED) as archive:
        for label, found in tables.items():
            rows += _table(archive, label, iter(found))
        for rendition in renditions:
            archive.writestr(f"pictures/{rendition.name}", file_read(rendition))
            pictures += 1
    return Exported(rows, pictures)


def _table(archive: ZipFile, label: str, rows: Iterator[Model]) -> int:
    """Write one table, row by row; none where it has no rows."""
    first = next(rows, None)
    if first is None:
        return 0
    count = 0
    with archive.open(f"{label}.jsonl", "w") as file:
        for row in chain([first], rows):
            count += 1
            file.write(_line(label, row) + b"\n")
    return count


def _line(label: str, row: Model) -> bytes:
    secret = FATES[label].secret
    shown: dict[str, Any] = {
        field.name: getattr(row, field.attname)
        for field in row._meta.concrete_fields  # noqa: SLF001  Django's own way to ask a model
        if field.name not in secret
    }
    return to_json(shown)
