"""Keys for the embedded form: made once, kept in the data folder, readable by their owner only.

The servers form gives SHUTLINE_SECRET_KEY and SHUTLINE_FIELD_KEYS instead, since every process
and machine must hold the same ones.
"""

import os
import secrets
import tempfile
from contextlib import suppress
from pathlib import Path

from cryptography.fernet import Fernet


def read_or_make(path: Path, fresh: str) -> str:
    """Return the text of a key file, writing `fresh` into it first where there is none."""
    path.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
    if not path.exists():
        handle, draft = tempfile.mkstemp(dir=path.parent)  # for its owner only
        with os.fdopen(handle, "w", encoding="ascii") as file:
            file.write(fresh)
        # A link appears whole and only once: of two processes starting together one gets its
        # key in, and neither reads a file that is still empty.
        with suppress(FileExistsError):
            os.link(draft, path)
        Path(draft).unlink()
    return path.read_text(encoding="ascii").strip()


def signing_key(folder: Path) -> str:
    """Return the key Django signs with."""
    return read_or_make(folder / "signing.key", secrets.token_urlsafe(48))


def field_key(folder: Path) -> str:
    """Return the key that encrypts endpoint secrets at rest."""
    return read_or_make(folder / "field.key", Fernet.generate_key().decode("ascii"))
