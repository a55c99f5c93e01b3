"""The paint survey."""

from typing import Any

from tests.api.parts.furnishing import Furnishing
from tests.api.steps import arrived, done

TABLE = """
GET    /api/v1/jobs/{job_id}/paint                                        ? +++ + +----- +---
GET    /api/v1/jobs/{measured}/paint.svg                                  ? +++ + +----- +---
POST   /api/v1/jobs/{job_id}/paint-readings                               ? +++ - -+---- ----
POST   /api/v1/jobs/{measured}/paint-readings/{reading_id}/set-aside      ? +++ - -+---- ----
POST   /api/v1/jobs/{job_id}/paint-films                                  ? +++ - -+---- ----
POST   /api/v1/jobs/{job_id}/paint-tests                                  ? +++ - -+---- ----
POST   /api/v1/jobs/{measured}/paint-tests/{test_id}/set-aside            ? +++ - -+---- ----
POST   /api/v1/jobs/{measured}/paint-passes                               ? +++ - -+---- ----
POST   /api/v1/jobs/{measured}/paint-passes/{passes_id}/set-aside         ? +++ - -+---- ----
"""
SPOT: dict[str, Any] = {"panel": "bonnet", "material": "steel", "readings": [117, 119, 118]}
ASIDE = {"reason": "Noted wrongly."}
PASSES: dict[str, Any] = {"panel": "bonnet", "kind": "finish", "passes": 1}
BODIES: dict[str, Any] = {
    "POST /api/v1/jobs/{job_id}/paint-readings": {"spots": [SPOT]},
    "POST /api/v1/jobs/{measured}/paint-readings/{reading_id}/set-aside": ASIDE,
    "POST /api/v1/jobs/{measured}/paint-tests/{test_id}/set-aside": ASIDE,
    "POST /api/v1/jobs/{measured}/paint-passes/{passes_id}/set-aside": ASIDE,
    "POST /api/v1/jobs/{job_id}/paint-films": {"film": "no"},
    "POST /api/v1/jobs/{job_id}/paint-tests": {"panel": "bonnet", "pad_colour": "white"},
    "POST /api/v1/jobs/{measured}/paint-passes": PASSES,
}


def furnish(world: Furnishing) -> None:
    """Make a car with one spot measured, tested and machined."""
    job = arrived(world.scene, dealer_ref="PX-41", registration="TU21 ABV")
    path, api = f"/jobs/{job['id']}", world.scene.workshop_api()
    (reading,) = done(api.post(f"{path}/paint-readings", {"spots": [SPOT]}))["readings"]
    pad = {"panel": "bonnet", "pad_colour": "white"}
    world.put("measured", job["id"])
    world.put("reading_id", reading["id"])
    world.put("test_id", done(api.post(f"{path}/paint-tests", pad))["test"]["id"])
    world.put("passes_id", done(api.post(f"{path}/paint-passes", PASSES))["done"]["id"])
