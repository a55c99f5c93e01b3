"""Coats and what the dealer supplied."""

from typing import Any

from tests.api.parts.furnishing import Furnishing
from tests.api.steps import arrived, detail, done

TABLE = """
GET    /api/v1/refinishing-steps                                          ? +++ + ++++++ ++++
GET    /api/v1/jobs/{job_id}/coats                                        ? +++ + +----- +---
POST   /api/v1/jobs/{painted}/tasks/{painted_task}/coats                  ? +++ - -+---- ----
GET    /api/v1/jobs/{painted}/supplied                                    ? +++ + +----- +---
POST   /api/v1/jobs/{painted}/supplied                                    ? +++ - -+---- ----
"""
BODIES: dict[str, Any] = {
    "POST /api/v1/jobs/{painted}/tasks/{painted_task}/coats": {"kind": "colour"},
    "POST /api/v1/jobs/{painted}/supplied": {"item": "Wheel trim", "state": "fitted"},
}


def furnish(world: Furnishing) -> None:
    """Make a car whose sills are being painted, with a wheel trim from the dealer."""
    workshop = world.scene.workshop_api()
    job = arrived(
        world.scene,
        dealer_ref="PX-21",
        registration="TU21 ABS",
        operations=["sills_refinish"],
        supplied=["Wheel trim"],
    )
    (task,) = detail(workshop, job)["tasks"]
    done(workshop.post(f"/jobs/{job['id']}/tasks/{task['id']}/start"))
    world.put("painted", job["id"])
    world.put("painted_task", task["id"])
