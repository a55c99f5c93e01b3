"""Takes the words out of notices that are kept: what a schema calls free text becomes empty.

What is left fits its schema as before, so a feed or a replay goes on with ids, times, codes and
figures. It is for an organisation that is erased while the other side's feed stays.
"""

from collections.abc import Mapping
from typing import Any
from uuid import UUID

import orjson
from django.db import transaction
from django.db.models import Q

from core.api.rendering import to_json
from notifications.catalogue import event_types
from notifications.models import Attempt, Event
from notifications.services.dropping import Dropped

KEPT_FORMATS = frozenset({"uuid", "date-time", "date", "uri"})


@transaction.atomic
def events_redact(*, organisation_id: UUID, place: str = "", limit: int = 500) -> Dropped:
    """Redact the next events of an organisation, and drop what receivers answered to them."""
    mine = Event.objects.filter(Q(dealer=organisation_id) | Q(workshop=organisation_id))
    found = list(mine.filter(number__gt=int(place or 0)).order_by("number")[:limit])
    for event in found:
        event.body = redacted(event)
        event.letter = event.also_to = ""
    Event.objects.bulk_update(found, ["body", "letter", "also_to"])
    Attempt.objects.filter(delivery__event__in=[event.pk for event in found]).delete()
    return Dropped(str(found[-1].number) if len(found) == limit else "", len(found))


def redacted(event: Event) -> str:
    """Return the body of an event without its words."""
    body = orjson.loads(event.body)
    kind = event_types().get(event.type)
    data = _value(kind.data_schema, body["data"]) if kind else {}
    return to_json({**body, "data": data}).decode()


def _value(schema: Mapping[str, Any], value: Any) -> Any:
    if value is None or "enum" in schema or "const" in schema:
        return value
    if "anyOf" in schema:
        kinds = [each for each in schema["anyOf"] if each.get("type") != "null"]
        return _value(kinds[0], value)
    if isinstance(value, dict):
        known = schema.get("properties", {})
        return {name: _value(known[name], part) for name, part in value.items() if name in known}
    if isinstance(value, list):
        return [_value(schema.get("items", {}), part) for part in value]
    if isinstance(value, str):
        return value if schema.get("format") in KEPT_FORMATS else ""
    return value
