"""Products that cure."""

from typing import Any

from tests.api.parts.furnishing import Furnishing
from tests.api.steps import done

TABLE = """
GET    /api/v1/products                                                   ? +++ - +----- ----
POST   /api/v1/products                                                   ? ++- - -+---- ----
GET    /api/v1/products/{product_id}                                      ? +++ - +----- ----
PATCH  /api/v1/products/{product_id}                                      ? ++- - -+---- ----
"""
DRESSING: dict[str, Any] = {"name": "Gloss for trim", "reference_minutes": 150}
BODIES: dict[str, Any] = {
    "POST /api/v1/products": DRESSING,
    "PATCH /api/v1/products/{product_id}": {"reference_minutes": 180},
}


def furnish(world: Furnishing) -> None:
    """Make a product."""
    wax = {"name": "Hard wax", "operation": "wax", "reference_minutes": 30}
    world.put("product_id", done(world.scene.workshop_api().post("/products", wax))["id"])
