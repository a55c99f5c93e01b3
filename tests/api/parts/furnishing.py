"""What a part may use to furnish the world of routes."""

from dataclasses import dataclass
from typing import Any, Protocol

from tests.scene import Scene


@dataclass(frozen=True, slots=True)
class Form:
    """A body that is not JSON; a part's BODIES may hold one."""

    content: bytes
    content_type: str


class Furnishing(Protocol):
    """The world while it is made: its scene, a job in work, and where to put what was made."""

    scene: Scene
    job: Any

    def put(self, place: str, value: str, *sides: str) -> None:
        """Give the value for a place in an address, for both sides or those named."""
