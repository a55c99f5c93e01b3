"""The keys of systems: made, and revoked for good."""

from collections.abc import Collection
from dataclasses import dataclass
from datetime import datetime

from accounts.models import ROLE_SCOPES, SIDE_SCOPES, ApiKey, Organisation, Person
from accounts.services.checks import name_error, refuse
from core.clock import now

MAX_KEY_NAME_LENGTH = 50


@dataclass(frozen=True, slots=True)
class FreshKey:
    """A key just made; `secret` is not kept anywhere and is shown this once."""

    key: ApiKey
    secret: str


def scope_error(kind: str, scopes: Collection[str], made_by: Person | None = None) -> str:
    """Return what is wrong with the scopes of a key for this kind of organisation, or nothing."""
    own = SIDE_SCOPES[kind] if made_by is None else ROLE_SCOPES.get(made_by.role, frozenset())
    allowed = sorted(SIDE_SCOPES[kind] & own)
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
    made_by: Person | None = None,
) -> FreshKey:
    """Make a key for an organisation's system; the secret is in the answer and nowhere else.

    `made_by`: who makes it, and binds it: it never does more than they may. None: the operator.
    """
    refuse(
        ("name", name_error(name, MAX_KEY_NAME_LENGTH)),
        ("scopes", scope_error(organisation.kind, scopes, made_by)),
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
        made_by=made_by,
    )
    assert isinstance(key, ApiKey)  # noqa: S101  narrows the library's return type
    return FreshKey(key=key, secret=secret)


def key_revoke(*, key: ApiKey) -> ApiKey:
    """Revoke a key for good; one that is revoked already stays so."""
    key.revoked = True
    key.save(update_fields=["revoked"])
    return key
