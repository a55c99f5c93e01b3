"""A body that is not JSON."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Form:
    """Its bytes and what they are; a part's BODIES may hold one."""

    content: bytes
    content_type: str
