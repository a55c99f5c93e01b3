"""JSON in, by orjson: it refuses lone surrogates, bad UTF-8, NaN and nesting beyond 1,024."""

from collections.abc import Mapping
from typing import IO, Any

import orjson
from rest_framework.exceptions import ParseError
from rest_framework.parsers import BaseParser


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
        try:
            return orjson.loads(stream.read())
        except orjson.JSONDecodeError as error:
            raise ParseError(f"The body is not JSON this service reads: {error}.") from error
