"""What tells this release from another: whoever kept a page of it shows it as this one would."""

from functools import cache
from hashlib import sha256

from django.conf import settings

PARTS = ("core", "accounts", "notifications", "jobs")
ENDINGS = frozenset({".py", ".html", ".css", ".js", ".svg"})
# What pages show of the settings.
SHOWN = ("TIME_ZONE", "LANGUAGE_CODE", "CURRENCY", "MARK_REGION", "STATIC_URL", "UNDO_SECONDS")


@cache
def release() -> str:
    """Return what changes whenever code, templates, styles or what pages show of settings do."""
    digest = sha256(repr([getattr(settings, name) for name in SHOWN]).encode())
    for part in PARTS:
        for file in sorted((settings.BASE_DIR / part).rglob("*")):
            if file.suffix in ENDINGS:
                digest.update(f"\0{file.relative_to(settings.BASE_DIR)}\0".encode())
                digest.update(file.read_bytes())
    return digest.hexdigest()[:32]
