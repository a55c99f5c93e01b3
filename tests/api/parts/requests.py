"""Requests for extra work, answers, changes seen."""

from typing import Any

from tests.api.parts.furnishing import Furnishing

TABLE = ""
BODIES: dict[str, Any] = {}


def furnish(world: Furnishing) -> None:
    """Make an object for every place in these addresses."""
    del world
