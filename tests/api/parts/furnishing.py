"""What a part may use to furnish the world of routes."""

from typing import Any, Protocol

from tests.api.forms import Form
from tests.scene import Scene

__all__ = ["Form", "Furnishing"]


class Furnishing(Protocol):
    """The world while it is made: its scene, a job in work, and where to put what was made."""

    scene: Scene
    job: Any

    def put(self, place: str, value: str, *sides: str) -> None:
        """Give the value for a place in an address, for both sides or those named."""
