"""Short names for the examples of the OpenAPI document."""

from typing import Any

import orjson
from drf_spectacular.utils import OpenApiExample

from core.api.answers import Answer
from core.api.rendering import to_json


def sent(name: str, value: Any, media_type: str = "application/json") -> OpenApiExample:
    """Return an example of a request."""
    return OpenApiExample(name, value=value, request_only=True, media_type=media_type)


def plain(answer: Answer) -> dict[str, Any]:
    """Return an answer as it arrives."""
    read: dict[str, Any] = orjson.loads(to_json(answer))
    return read


def answered(
    name: str, value: Any, status: int = 200, media_type: str = "application/json"
) -> OpenApiExample:
    """Return an example of an answer: one itself, or its plain values."""
    value = plain(value) if isinstance(value, Answer) else value
    return OpenApiExample(
        name, value=value, response_only=True, status_codes=[str(status)], media_type=media_type
    )
