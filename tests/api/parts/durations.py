"""How long work takes, and how dirty cars come in."""

from typing import Any

from tests.api.parts.furnishing import Furnishing
from tests.api.steps import arrived, detail, done

TABLE = """
GET    /api/v1/soiling-levels                                             ? +++ + ++++++ ++++
GET    /api/v1/workshop/durations                                         ? +++ - +----- ----
GET    /api/v1/jobs/{job_id}/estimate                                     ? +++ - +----- ----
POST   /api/v1/jobs/{job_id}/soiling                                      ? +++ - -+---- ----
POST   /api/v1/jobs/{timed}/tasks/{timed_task}/minutes                    ? +++ - -+---- ----
"""
BODIES: dict[str, Any] = {
    "POST /api/v1/jobs/{job_id}/soiling": {"level": 3},
    "POST /api/v1/jobs/{timed}/tasks/{timed_task}/minutes": {"minutes": 45},
}


def furnish(world: Furnishing) -> None:
    """Make a car with a finished task."""
    job = arrived(world.scene, dealer_ref="PX-51", registration="TU21 ABY")
    api = world.scene.workshop_api()
    task, _ = detail(api, job)["tasks"]
    for step in ("start", "finish"):
        done(api.post(f"/jobs/{job['id']}/tasks/{task['id']}/{step}"))
    world.put("timed", job["id"])
    world.put("timed_task", task["id"])
