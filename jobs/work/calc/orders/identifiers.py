"""Cleaning of identifiers that people type, scan or paste: shared by marks and VINs."""

import re
from typing import Final

# Any white space, the hyphen-minus, the soft hyphen, the dashes U+2010 to U+2015, and minus.
_SEPARATORS: Final = re.compile("[\\s\\-\u00ad\u2010-\u2015\u2212]+")
_PLAIN: Final = frozenset("ABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789")
_MOST_SHOWN: Final = 5


def cleaned_groups(text: str) -> list[str]:
    """Split at spaces and dashes, and put A to Z in upper case.

    Characters outside ASCII stay as typed, because the upper case of some is made of plain
    letters (the German sharp s becomes SS) and a wrong character would pass for a right one.
    """
    upper = "".join(char.upper() if char.isascii() else char for char in text)
    return [group for group in _SEPARATORS.split(upper) if group]


def strange_characters(cleaned: str) -> str:
    """Name the characters other than A to Z and 0 to 9, each once; empty if there are none."""
    strange = [char for char in dict.fromkeys(cleaned) if char not in _PLAIN]
    shown = [char if char.isprintable() else f"U+{ord(char):04X}" for char in strange]
    named = ", ".join(shown[:_MOST_SHOWN])
    if len(shown) > _MOST_SHOWN:
        named += f" and {len(shown) - _MOST_SHOWN} more"
    return named
