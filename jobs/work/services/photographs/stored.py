"""What an upload becomes before it is stored; whoever passes it on needs no decoder for that."""

import hashlib
from collections.abc import Mapping
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Encoded:
    """One picture as it will be stored: a JPEG in sRGB."""

    content: bytes
    width: int
    height: int

    @property
    def sha256(self) -> str:
        """Return the digest of the bytes, in hexadecimal."""
        return hashlib.sha256(self.content).hexdigest()


@dataclass(frozen=True, slots=True)
class Upload:
    """What an upload turned out to be: its format, digest and upright size, and its renditions."""

    format: str
    sha256: str
    width: int
    height: int
    renditions: Mapping[int, Encoded]
