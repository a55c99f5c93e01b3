"""The tablet's worker, its manifest, and what happened since a version."""

from typing import Any

from tests.api.parts.furnishing import Furnishing

TABLE = """
GET    /tablet/worker.js                         + +++ +
GET    /tablet/manifest.webmanifest              + +++ +
GET    /tablet/cars/{job_id}/since/{version}     ? +++ -
"""
BODIES: dict[str, Any] = {}


def furnish(world: Furnishing) -> None:
    """Name a version."""
    world.put("version", "1")
