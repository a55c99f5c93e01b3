"""Short names for the examples of the OpenAPI document."""

from collections.abc import Callable
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


class WorkedOut(OpenApiExample):
    """An example of an answer that is worked out when the document is made.

    For one that takes long sums: else every process would load and do them as it starts.
    """

    def __init__(self, name: str, make: Callable[[], Answer]) -> None:
        self._make = make
        super().__init__(name, response_only=True, status_codes=["200"])

    @property
    def value(self) -> Any:
        """Return the answer as it arrives."""
        return plain(self._make())

    @value.setter
    def value(self, _: Any) -> None:
        """Take nothing: the library has none to set."""
