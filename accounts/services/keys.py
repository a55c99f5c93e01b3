"""The keys of systems: made, and revoked for good."""

from collections.abc import Collection
from dataclasses import dataclass
from datetime import datetime

from accounts.models import SIDE_SCOPES, ApiKey, Organisation
from accounts.services.checks import name_error, refuse
from core.clock import now

MAX_KEY_NAME_LENGTH = 50


@dataclass(frozen=True, slots=True)
class FreshKey:
    """A key just made; `secret` is not kept anywhere and is shown this once."""

    key: ApiKey
    secret: str


def scope_error(kind: str, scopes: Collection[str]) -> str:
    """Return what is wrong with the scopes of a key for this kind of organisation, or nothing."""
    allowed = sorted(SIDE_SCOPES[kind])
    wrong = sorted(set(scopes) - set(allowed))
    if scopes and not wrong:
        return ""
    named = f"Not for a {kind}: {', '.join(wrong)}. " if wrong else ""
    return f"{named}Choose from: {', '.join(allowed)}."


def key_add(
    *,
    organisation: Organisation,
    name: str,
    scopes: Collection[str],
    expires_at: datetime | None = None,
) -> FreshKey:
    """Make a key for an organisation's system; the secret is in the answer and nowhere else."""
    refuse(
        ("name", name_error(name, MAX_KEY_NAME_LENGTH)),
        ("scopes", scope_error(organisation.kind, scopes)),
        (
            "expires_at",
            "This time is past." if expires_at is not None and expires_at <= now() else "",
        ),
    )
    key, secret = ApiKey.objects.create_key(
        organisation=organisation,
        name=name.strip(),
        scopes=sorted(set(scopes)),
        expiry_date=expires_at,
    )
    assert isinstance(key, ApiKey)  # noqa: S101  narrows the library's return type
    return FreshKey(key=key, secret=secret)


def key_revoke(*, key: ApiKey) -> ApiKey:
    """Revoke a key for good; one that is revoked already stays so."""
    key.revoked = True
    key.save(update_fields=["revoked"])
    return key
