"""Where cars wait."""

from typing import Any

TABLE = """
GET    /api/v1/flow                                                       ? ++- - ------+- ----
GET    /api/v1/flow.csv                                                   ? ++- - ------+- ----
"""
BODIES: dict[str, Any] = {}
