"""Photographs and their links."""

from typing import Any
from urllib.parse import parse_qsl, urlsplit

from tests.api.parts.furnishing import Furnishing
from tests.api.pictures import form, upload
from tests.api.steps import done

TABLE = """
GET    /api/v1/jobs/{job_id}/photos                                       ? +++ + +----- +---
POST   /api/v1/jobs/{job_id}/photos                                       ? +++ - -+---- ----
GET    /api/v1/photos/{photo_id}/{size}                                   ? +++ + +----- +---
"""
BODIES: dict[str, Any] = {"POST /api/v1/jobs/{job_id}/photos": form()}
QUERIES = {"GET /api/v1/photos/{photo_id}/{size}": "until={until}&signature={signature}"}


def furnish(world: Furnishing) -> None:
    """Make an object for every place in these addresses."""
    photo = done(upload(world.scene.workshop_api(), world.job))
    link = urlsplit(photo["links"]["320"])
    for name, value in parse_qsl(link.query):
        world.put(name, value)
    world.put("photo_id", photo["id"])
    world.put("size", "320")
