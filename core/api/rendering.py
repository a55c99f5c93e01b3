"""JSON out, by orjson."""

from collections.abc import Mapping
from decimal import Decimal
from typing import Any

import orjson
from django.utils.functional import Promise
from rest_framework.renderers import BaseRenderer

from core.text import without_directions


def _plain(value: object) -> str:
    if isinstance(value, (Decimal, Promise)):
        return str(value)
    raise TypeError(f"{type(value).__name__} has no JSON form")


def to_json(data: Any) -> bytes:
    """Return compact JSON: UUIDs as text, instants as RFC 3339 in UTC, decimals as strings."""
    return orjson.dumps(data, default=_plain, option=orjson.OPT_UTC_Z)


class OrjsonRenderer(BaseRenderer):
    """Renders application/json."""

    media_type = "application/json"
    format = "json"
    charset = None

    def render(
        self,
        data: Any,
        accepted_media_type: str | None = None,
        renderer_context: Mapping[str, Any] | None = None,
    ) -> bytes:
        del accepted_media_type, renderer_context
        return b"" if data is None else without_directions(to_json(data))
