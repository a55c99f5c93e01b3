"""The catalogue of events: each with one fixed JSON Schema and an example.

Apps above register their events when they load; nothing here knows what a job is.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

Schema = dict[str, Any]


@dataclass(frozen=True, slots=True)
class EventType:
    """One kind of event: a full-stop delimited name in the past tense, and what `data` holds."""

    name: str
    summary: str
    data_schema: Mapping[str, Any]
    example_data: Mapping[str, Any]

    @property
    def schema(self) -> Schema:
        """Return the JSON Schema (2020-12) of the whole notice body."""
        return {
            "title": self.name,
            "description": self.summary,
            "type": "object",
            "properties": {
                "type": {"const": self.name},
                "timestamp": {
                    "type": "string",
                    "format": "date-time",
                    "description": "When it happened (RFC 3339, UTC).",
                },
                "data": dict(self.data_schema),
            },
            "required": ["type", "timestamp", "data"],
        }

    @property
    def example(self) -> dict[str, Any]:
        """Return an example of the whole notice body."""
        return {
            "type": self.name,
            "timestamp": "2027-03-01T09:30:00Z",
            "data": dict(self.example_data),
        }


_types: dict[str, EventType] = {}


def register(*kinds: EventType) -> None:
    """Add event types to the catalogue; a name can be taken once only."""
    for kind in kinds:
        if _types.get(kind.name, kind) != kind:
            raise ValueError(f"There are two event types called {kind.name}.")
        _types[kind.name] = kind


def event_types() -> dict[str, EventType]:
    """Return every registered type, in the order of their names."""
    return dict(sorted(_types.items()))


ENDPOINT_TESTED = EventType(
    name="endpoint.tested",
    summary="A test notice that somebody asked for; nothing happened to any car.",
    data_schema={
        "type": "object",
        "properties": {"endpoint_id": {"type": "string", "format": "uuid"}},
        "required": ["endpoint_id"],
    },
    example_data={"endpoint_id": "01951a2b-3c4d-7e5f-8a6b-7c8d9e0f1a2b"},
)
register(ENDPOINT_TESTED)
