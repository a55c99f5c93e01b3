"""Reads of accounts for others."""

from contextlib import suppress
from datetime import datetime, timedelta
from typing import NamedTuple
from uuid import UUID

import orjson
from django.db import connection
from django.db.models import Q, QuerySet

from accounts.models import ApiKey, Organisation, Person, TradeAccount
from core.api.caller import Caller, Side
from core.clock import now
from core.problems import NotFound

PREFIX_LENGTH = 8
KEY_STATES = ("usable", "expired", "revoked")


class KeyRow(NamedTuple):
    """What authentication needs of a key and its organisation."""

    prefix: str
    hashed_key: str
    name: str
    revoked: bool
    expired: bool
    use_to_note: bool
    scopes: list[str]
    organisation_id: UUID
    side: str
    organisation_name: str
    ready_version: int


_KEY_SQL = """
SELECT k.prefix, k.hashed_key, k.name, k.revoked,
       k.expiry_date IS NOT NULL AND k.expiry_date <= %s,
       k.last_used_at IS NULL OR k.last_used_at < %s,
       k.scopes, o.id, o.kind, o.name, o.ready_version
  FROM accounts_apikey k JOIN accounts_organisation o ON o.id = k.organisation_id
 WHERE k.prefix = %s
"""


def key_row(*, prefix: str, at: datetime, noted_every: timedelta) -> KeyRow | None:
    """Return the key with this prefix as of an instant, or None.

    Plain SQL, since every call of a system begins with it: making the same query through the
    ORM takes three times as long as running it.
    """
    if not (len(prefix) == PREFIX_LENGTH and prefix.isascii() and prefix.isalnum()):
        return None
    instant = connection.ops.adapt_datetimefield_value
    with connection.cursor() as cursor:
        cursor.execute(_KEY_SQL, [instant(at), instant(at - noted_every), prefix])
        row = cursor.fetchone()
    if row is None:
        return None
    found = KeyRow(*row)
    organisation: UUID | str = found.organisation_id  # SQLite keeps it as text
    if isinstance(organisation, str):
        found = found._replace(organisation_id=UUID(organisation))
    return found._replace(scopes=orjson.loads(row[6]))


def organisation_find(*, wanted: str, kind: Side | None = None) -> Organisation:
    """Return the organisation, of a kind if given, with this id or exact name. Raises NotFound."""
    match = Q(name=wanted)
    with suppress(ValueError):
        match |= Q(pk=UUID(wanted))
    found = list(Organisation.objects.filter(match, **({"kind": kind.value} if kind else {}))[:2])
    if len(found) != 1:
        called = f"{kind or 'organisation'} is called {wanted!r}"
        raise NotFound(
            f"More than one {called}: give its id."
            if found
            else f"No {called}: give its exact name or its id."
        )
    return found[0]


def dealer_called(name: str) -> Organisation | None:
    """Return the dealer with this exact name, or None."""
    return Organisation.objects.filter(kind=Side.DEALER.value, name=name.strip()).first()


def trade_accounts_of(*, dealer_id: UUID) -> QuerySet[TradeAccount]:
    """Return the dealer's open trade accounts."""
    return TradeAccount.objects.filter(dealer_id=dealer_id, active=True)


def organisation_of(caller: Caller) -> Organisation:
    """Return the caller's organisation."""
    return Organisation.objects.get(pk=caller.organisation_id)


def trade_accounts_for(caller: Caller) -> QuerySet[TradeAccount]:
    """Return the caller's trade accounts, open and closed, with both organisations."""
    own = {f"{caller.side}_id": caller.organisation_id}
    return TradeAccount.objects.filter(**own).select_related("workshop", "dealer")


def trade_account_for(caller: Caller, account_id: UUID) -> TradeAccount:
    """Return one of the caller's trade accounts. Raises NotFound."""
    account = trade_accounts_for(caller).filter(pk=account_id).first()
    if account is None:
        raise NotFound("There is no such trade account, or it is not yours.")
    return account


def keys_for(caller: Caller) -> QuerySet[ApiKey]:
    """Return the keys of the caller's organisation, revoked and expired ones too."""
    return ApiKey.objects.filter(organisation_id=caller.organisation_id)


def key_for(caller: Caller, prefix: str) -> ApiKey:
    """Return a key of the caller's organisation by its prefix. Raises NotFound."""
    key = keys_for(caller).filter(prefix=prefix).first()
    if key is None:
        raise NotFound("There is no such key, or it is not yours.")
    return key


def key_state(key: ApiKey) -> str:
    """Return one of KEY_STATES: whether the key still opens anything."""
    if key.revoked:
        return "revoked"
    expired = key.expiry_date is not None and key.expiry_date <= now()
    return "expired" if expired else "usable"


def key_find(*, prefix: str) -> ApiKey:
    """Return any organisation's key by its prefix: the operator's reading. Raises NotFound."""
    keys: QuerySet[ApiKey] = ApiKey.objects.select_related("organisation")
    key = keys.filter(prefix=prefix).first()
    if key is None:
        raise NotFound(f"No key begins with {prefix!r}.")
    return key


def person_of(*, organisation_id: UUID, person_id: UUID) -> Person | None:
    """Return the active person of an organisation with this id, or None."""
    return Person.objects.filter(
        pk=person_id, organisation_id=organisation_id, is_active=True
    ).first()
