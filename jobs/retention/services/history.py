"""The history of a car without what is personal in it, and later without any name or word."""

import re
from collections.abc import Mapping, Sequence
from typing import Any
from uuid import UUID

from jobs.retention.fates import CARS
from jobs.work.calc.stages.machine import Kind
from jobs.work.models import HistoryEntry
from jobs.work.services.jobs.forgetting import history_replace

ORDER_FIELDS = frozenset(CARS["jobs.Job"].personal)
# Of what an entry carries: written to or about people.
PERSONAL = frozenset({"told", "note", "question", "reply", "differences"})
# Codes and ids, which stay with the figures; every other text goes.
CODES = frozenset(
    {
        *(
            "cause",
            "confirmed",
            "field",
            "fuel",
            "how",
            "kind",
            "left_open",
            "look",
            "mileage_unit",
        ),
        *("occasion", "operation", "operations", "outcome", "pad_colour", "panel", "rubbed_with"),
        *("area", "side", "state", "undid", "undoes", "way", "weight"),
    }
)
_CODE = re.compile(r"[a-z0-9_.]{1,40}")
_INSTANT = re.compile(r"\d{4}-\d\d-\d\d(T[\d:.]+(Z|[+-]\d\d:\d\d)?)?")


def history_clear(job_ids: Sequence[UUID], *, names_too: bool) -> int:
    """Take what is personal out of the history of cars, or all names and words; return how many.

    Call it inside the transaction in which the rest of the car is cleared.
    """
    changed = []
    for entry in HistoryEntry.objects.filter(job__in=job_ids):
        before = _seen(entry)
        _without_words(entry) if names_too else _without_personal(entry)
        if _seen(entry) != before:
            changed.append(entry)
    history_replace(changed)
    return len(changed)


def _seen(entry: HistoryEntry) -> tuple[Any, ...]:
    return entry.actor, entry.actor_key, entry.actor_person_id, entry.reason, entry.data


def _without_personal(entry: HistoryEntry) -> None:
    # Emptied, not taken out: the sentences of the history look for them.
    data: dict[str, Any] = {
        key: type(value)() if key in PERSONAL and isinstance(value, (str, list)) else value
        for key, value in entry.data.items()
    }
    if "changes" in data:
        data["changes"] = [
            _unsaid(change) if change.get("field") in ORDER_FIELDS else change
            for change in data["changes"]
        ]
    entry.data = data
    if entry.kind in {Kind.REQUEST_CLOSED, Kind.FINDING_SEEN}:  # the note that came with it
        entry.reason = ""


def _without_words(entry: HistoryEntry) -> None:
    entry.actor = entry.actor_key = entry.reason = ""
    entry.actor_person_id = None
    entry.data = _figures(entry.data)


def _figures(data: Mapping[str, Any]) -> dict[str, Any]:
    """Return numbers, yes and no, codes, ids and times; a text that may be words becomes none."""
    return {key: _figure(key, value) for key, value in data.items()}


def _figure(key: str, value: Any) -> Any:
    if isinstance(value, Mapping):
        return _unsaid(value) if "was" in value and "field" in value else _figures(value)
    if isinstance(value, list):
        return [_figure(key, item) for item in value]
    if isinstance(value, str) and not _is_code(key, value):
        return ""
    return value


def _is_code(key: str, value: str) -> bool:
    if key in CODES:
        return _CODE.fullmatch(value) is not None
    if key == "id" or key.endswith("_id"):
        return re.fullmatch(r"[0-9a-f-]{32,36}", value) is not None
    return _INSTANT.fullmatch(value) is not None


def _unsaid(change: Mapping[str, Any]) -> dict[str, Any]:
    """Return that a field of the order was changed, without from what to what."""
    return {**change, "was": None, "now": None}
