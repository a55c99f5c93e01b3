"""The tablet's pages; what they do goes over the API."""

from typing import Any

from tests.api.parts.furnishing import Furnishing

TABLE = """
GET    /tablet/                                  ? +++ -
GET    /tablet/climate                           ? +++ -
GET    /tablet/cars/{job_id}                     ? +++ -
GET    /tablet/cars/{job_id}/finding             ? +++ -
GET    /tablet/cars/{job_id}/paint               ? +++ -
"""
BODIES: dict[str, Any] = {}


def furnish(_world: Furnishing) -> None:
    """Make nothing more: a job is enough."""
