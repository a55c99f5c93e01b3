"""Takes somebody's name and address out of rows, wherever in a text they stand.

Text is looked through here, not by the database: JSON is written in more than one way there.
"""

import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import Any

import orjson
from django.db import transaction
from django.db.models import EmailField, JSONField, Model

from core.api.rendering import to_json
from core.sealing import CannotUnseal, unseal
from jobs.retention.selectors.subjects import Rows, model_of
from jobs.retention.services.blanks import DELETED
from jobs.work.models import HistoryEntry
from jobs.work.services.jobs.forgetting import history_replace

AT_ONCE = 300
SHORTEST = 3
HISTORY, EVENTS, ENDPOINTS = "jobs.HistoryEntry", "notifications.Event", "notifications.Endpoint"
# Each is somebody's alone and cannot stand twice: what is left of it says whose row it was.
ONCE = frozenset({ENDPOINTS})


class Words:
    """What to take out: whole words in any case, the longest first.

    Very short ones stand in too much else; they go only where they are all that a text says.
    """

    def __init__(self, words: Iterable[str]) -> None:
        found = sorted({word.strip() for word in words if word.strip()}, key=len, reverse=True)
        self._alone = frozenset(word.casefold() for word in found)
        self.words: Sequence[str] = [word for word in found if len(word) >= SHORTEST]
        parts = "|".join(r"\s+".join(map(re.escape, word.split())) for word in self.words)
        self._pattern = re.compile(rf"(?<!\w)(?:{parts})(?!\w)", re.IGNORECASE) if parts else None

    def stand_in(self, text: str) -> bool:
        """Return whether any of them stands in a text."""
        if text.strip().casefold() in self._alone:
            return True
        return self._pattern is not None and self._pattern.search(text) is not None

    def out_of(self, value: Any) -> Any:
        """Return a value without them, down to the last text in it."""
        if isinstance(value, str):
            if value.strip().casefold() in self._alone:
                return DELETED
            return self._pattern.sub(DELETED, value) if self._pattern else value
        if isinstance(value, Mapping):
            return {self.out_of(key): self.out_of(part) for key, part in value.items()}
        if isinstance(value, list):
            return [self.out_of(part) for part in value]
        return value


def words_clear(found: Rows, words: Words) -> int:
    """Take words out of rows, batch by batch; return how many rows had them."""
    columns = [*found.fate.personal, *found.fate.names]
    if not columns:
        return 0
    count = 0
    for batch in _batches(found):
        with transaction.atomic():
            count += _clear(found.label, batch, columns, words)
    return count


def words_found(found: Rows, words: Words) -> Iterator[Model]:
    """Yield the rows in which any of the words stands."""
    columns = [*found.fate.personal, *found.fate.names]
    for batch in _batches(found) if columns else ():
        for row in batch:
            if words.stand_in(to_json([getattr(row, name) for name in columns]).decode()):
                yield row


def _batches(found: Rows) -> Iterator[list[Model]]:
    rows = found.rows.order_by("pk")
    batch = list(rows[:AT_ONCE])
    while batch:
        yield batch
        batch = list(rows.filter(pk__gt=batch[-1].pk)[:AT_ONCE])


def _clear(label: str, rows: list[Model], columns: list[str], words: Words) -> int:
    changed = [row for row in rows if _change(label, row, columns, words)]
    if label == HISTORY:
        history_replace([row for row in changed if isinstance(row, HistoryEntry)])
    elif changed:
        extra = ["letter"] if label == EVENTS else []
        model_of(label)._default_manager.bulk_update(changed, [*columns, *extra])  # noqa: SLF001  any model's
    return len(changed)


def _change(label: str, row: Model, columns: list[str], words: Words) -> bool:
    """Take the words out of one row in memory; return whether there were any."""
    changed = False
    for name in columns:
        value = getattr(row, name)
        fresh = _body(value, words) if (label, name) == (EVENTS, "body") else words.out_of(value)
        if fresh != value:
            setattr(row, name, _fitting(label, row, name, fresh))
            changed = True
    if label == EVENTS and sealed_has(str(getattr(row, "letter", "")).encode(), words):
        row.letter = ""  # type: ignore[attr-defined]  # an event's
        changed = True
    return changed


def _body(text: str, words: Words) -> str:
    """Return the body of a notice without the words; a name may stand in it as JSON writes it."""
    if not words.stand_in(text) and "\\" not in text:
        return text
    body = orjson.loads(text)
    fresh = words.out_of(body)
    return text if fresh == body else to_json(fresh).decode()


def _fitting(label: str, row: Model, name: str, value: Any) -> Any:
    field: Any = row._meta.get_field(name)  # noqa: SLF001  Django's own way to ask a model
    if isinstance(field, JSONField):
        return value
    if isinstance(field, EmailField):
        return ""
    if label in ONCE and name == "address":
        return f"{DELETED} {row.pk}"
    return value[: field.max_length] if field.max_length else value


def sealed_has(sealed: bytes, words: Words) -> bool:
    """Return whether words stand in what is sealed; what nobody can open any more counts as so."""
    if not sealed:
        return False
    try:
        return words.stand_in(unseal(sealed).decode(errors="replace"))
    except CannotUnseal:
        return True
