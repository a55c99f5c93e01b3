"""A notice on its way: what of an event is told, read without making a model of it."""

from typing import NamedTuple
from uuid import UUID


class Notice(NamedTuple):
    """The event's id and type, and its body byte for byte as it is signed and sent."""

    id: UUID
    type: str
    body: str
