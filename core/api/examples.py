"""Short names for the examples of the OpenAPI document."""

from dataclasses import asdict
from typing import Any

from drf_spectacular.utils import OpenApiExample

from core.api.answers import Answer


def sent(name: str, value: Any, media_type: str = "application/json") -> OpenApiExample:
    """Return an example of a request."""
    return OpenApiExample(name, value=value, request_only=True, media_type=media_type)


def answered(
    name: str, value: Any, status: int = 200, media_type: str = "application/json"
) -> OpenApiExample:
    """Return an example of an answer: one itself, or its plain values."""
    value = asdict(value) if isinstance(value, Answer) else value
    return OpenApiExample(
        name, value=value, response_only=True, status_codes=[str(status)], media_type=media_type
    )
