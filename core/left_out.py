"""What was left out of what was sent: told from what was sent empty.

What leaving out means is said by whoever takes it: what is new gets its default, what is changed
stays as it is.
"""

from dataclasses import fields
from enum import Enum
from typing import TYPE_CHECKING, Any, Final, TypeVar

if TYPE_CHECKING:
    from _typeshed import DataclassInstance

T = TypeVar("T")


class LeftOut(Enum):
    """The one value of a field that was left out."""

    LEFT_OUT = "left out"


LEFT_OUT: Final = LeftOut.LEFT_OUT


def named(sent: "DataclassInstance") -> dict[str, Any]:
    """Return the fields that were not left out, with their values."""
    pairs = ((field.name, getattr(sent, field.name)) for field in fields(sent))
    return {name: value for name, value in pairs if value is not LEFT_OUT}


def or_else(value: T | LeftOut, otherwise: T) -> T:
    """Return a value, or another where it was left out."""
    return otherwise if isinstance(value, LeftOut) else value
