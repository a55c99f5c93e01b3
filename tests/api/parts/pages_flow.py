"""The page of where cars wait."""

from typing import Any

TABLE = """
GET    /desk/flow                                               ? ++- -
GET    /desk/flow.csv                                           ? ++- -
"""
BODIES: dict[str, Any] = {}
