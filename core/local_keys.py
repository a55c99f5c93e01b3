"""Keys for the embedded form: made once, kept in the data folder, readable by their owner only.

The servers form gives SHUTLINE_SECRET_KEY and SHUTLINE_FIELD_KEYS instead, since every process
and machine must hold the same ones.
"""

import os
import secrets
from pathlib import Path

from cryptography.fernet import Fernet


def read_or_make(path: Path, fresh: str) -> str:
    """Return the text of a key file, writing `fresh` into it first where there is none."""
    path.parent.mkdir(parents=True, exist_ok=True)
    try:
        handle = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
    except FileExistsError:
        return path.read_text(encoding="ascii").strip()
    with os.fdopen(handle, "w", encoding="ascii") as file:
        file.write(fresh)
    return fresh


def signing_key(folder: Path) -> str:
    """Return the key Django signs with."""
    return read_or_make(folder / "signing.key", secrets.token_urlsafe(48))


def field_key(folder: Path) -> str:
    """Return the key that encrypts endpoint secrets at rest."""
    return read_or_make(folder / "field.key", Fernet.generate_key().decode("ascii"))
