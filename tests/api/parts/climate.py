"""The air of a workshop: readings, a forecast, what it chose."""

from typing import Any

from tests.api.parts.furnishing import Furnishing
from tests.api.steps import done

TABLE = """
GET    /api/v1/workshop/climate                                           ? +++ - +----- ----
POST   /api/v1/workshop/climate                                           ? +++ - -+---- ----
GET    /api/v1/workshop/climate/setup                                     ? ++- - -+---- ----
PATCH  /api/v1/workshop/climate/setup                                     ? ++- - -+---- ----
"""
BODIES: dict[str, Any] = {
    "POST /api/v1/workshop/climate": {"celsius": 12.5, "humidity_percent": 70},
    "PATCH /api/v1/workshop/climate/setup": {"air": "fan"},
}


def furnish(world: Furnishing) -> None:
    """Measure the air once."""
    done(world.scene.workshop_api().post("/workshop/climate", {"celsius": 12.5}))
