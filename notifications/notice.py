"""A notice on its way: what of an event is told, read without making a model of it."""

from typing import NamedTuple
from uuid import UUID


class Notice(NamedTuple):
    """The event's id and type, its body byte for byte as it is sent, and its sealed letter.

    The letter is there only on the way to one of the dealer's e-mail addresses.
    """

    id: UUID
    type: str
    body: str
    letter: str = ""
