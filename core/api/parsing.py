"""JSON in, by orjson: it refuses lone surrogates, bad UTF-8 and NaN; deep nesting is refused here.

orjson reads 1,024 levels, which is more than Python can print in an error message.
"""

from collections.abc import Mapping
from typing import IO, Any

import orjson
from rest_framework.exceptions import ParseError
from rest_framework.parsers import BaseParser

MOST_LEVELS = 32


class OrjsonParser(BaseParser):
    """Reads application/json."""

    media_type = "application/json"

    def parse(
        self,
        stream: IO[Any],
        media_type: str | None = None,
        parser_context: Mapping[str, Any] | None = None,
    ) -> Any:
        del media_type, parser_context
        body = stream.read()
        try:
            value = orjson.loads(body)
        except orjson.JSONDecodeError as error:
            raise ParseError(f"The body is not JSON this service reads: {error}.") from error
        # Counting brackets is cheap and settles it for nearly every body.
        if body.count(b"[") + body.count(b"{") > MOST_LEVELS and is_deep(value):
            raise ParseError(f"The body is nested more than {MOST_LEVELS} levels deep.")
        return value


def is_deep(value: Any) -> bool:
    """Return whether lists and objects lie in each other more than MOST_LEVELS deep."""
    level = [value]
    for _ in range(MOST_LEVELS + 1):
        containers = (
            item.values() if isinstance(item, dict) else item
            for item in level
            if isinstance(item, (dict, list))
        )
        level = [child for container in containers for child in container]
        if not level:
            return False
    return True
