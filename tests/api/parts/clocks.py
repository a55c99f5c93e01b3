"""What cures and dries on a car, and products that went on."""

from typing import Any

from tests.api.clock_steps import finished
from tests.api.parts.furnishing import Furnishing
from tests.api.steps import arrived, done, moved

TABLE = """
GET    /api/v1/jobs/{job_id}/waits                                        ? +++ + +----- +---
POST   /api/v1/jobs/{wet}/clocks/{clock_id}/touch-tests                   ? +++ - -+---- ----
POST   /api/v1/jobs/{wet}/uses                                            ? +++ - -+---- ----
"""
USE: dict[str, Any] = {"note": "Two thin coats."}
BODIES: dict[str, Any] = {
    "POST /api/v1/jobs/{wet}/clocks/{clock_id}/touch-tests": {"dry": True},
    "POST /api/v1/jobs/{wet}/uses": USE,
}


def furnish(world: Furnishing) -> None:
    """Make a car that dries, and a product to put on it."""
    api = world.scene.workshop_api()
    job = arrived(
        world.scene, dealer_ref="PX-61", registration="TU21 ABZ", operations=["wet_extraction"]
    )
    moved(api, job, "cleaning")
    world.put("wet", job["id"])
    world.put("clock_id", finished(api, job, "wet_extraction")["id"])
    product = done(api.post("/products", {"name": "Fabric guard", "reference_minutes": 60}))
    task = done(api.post(f"/jobs/{job['id']}/tasks", {"operation": "wax"}))
    USE.update(product_id=product["id"], task_id=task["id"])
