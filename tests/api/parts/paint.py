"""The paint survey."""

from typing import Any

from tests.api.parts.furnishing import Furnishing
from tests.api.steps import arrived, done

TABLE = """
GET    /api/v1/jobs/{job_id}/paint                                        ? +++ + +----- +---
GET    /api/v1/jobs/{measured}/paint.svg                                  ? +++ + +----- +---
POST   /api/v1/jobs/{job_id}/paint-readings                               ? +++ - -+---- ----
POST   /api/v1/jobs/{measured}/paint-readings/{reading_id}/set-aside      ? +++ - -+---- ----
POST   /api/v1/jobs/{job_id}/paint-tests                                  ? +++ - -+---- ----
POST   /api/v1/jobs/{measured}/paint-passes                               ? +++ - -+---- ----
"""
SPOT: dict[str, Any] = {"panel": "bonnet", "material": "steel", "readings": [117, 119, 118]}
BODIES: dict[str, Any] = {
    "POST /api/v1/jobs/{job_id}/paint-readings": {"spots": [SPOT]},
    "POST /api/v1/jobs/{measured}/paint-readings/{reading_id}/set-aside": {
        "reason": "On a stone chip."
    },
    "POST /api/v1/jobs/{job_id}/paint-tests": {"panel": "bonnet", "pad_colour": "white"},
    "POST /api/v1/jobs/{measured}/paint-passes": {
        "panel": "bonnet",
        "kind": "cut",
        "passes": 1,
    },
}


def furnish(world: Furnishing) -> None:
    """Make a car with one spot measured."""
    job = arrived(world.scene, dealer_ref="PX-41", registration="TU21 ABV")
    path = f"/jobs/{job['id']}/paint-readings"
    (reading,) = done(world.scene.workshop_api().post(path, {"spots": [SPOT]}))["readings"]
    world.put("measured", job["id"])
    world.put("reading_id", reading["id"])
