"""Reads of accounts for others."""

import hashlib
from contextlib import suppress
from datetime import datetime, timedelta
from typing import NamedTuple
from uuid import UUID

import orjson
from django.db import connection
from django.db.models import Count, F, Q, QuerySet
from django.db.models.expressions import RawSQL

from accounts.caller import Caller, Side
from accounts.models import TABLET_MAKERS, ApiKey, Device, Organisation, Person, TradeAccount
from core.clock import now
from core.epoch import epoch_number
from core.problems import NotFound

PREFIX_LENGTH = 8
# Of the 10,000 shortest PINs somebody can try one in 500, and then the PIN is worth nothing.
PIN_TRIES_IN_ALL = 20
# A tablet that nobody signed in on for so long is none any more.
TABLET_LASTS = timedelta(days=90)
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
    maker_is_active: bool | None
    maker_role: str | None
    epoch: int


_KEY_SQL = """
SELECT k.prefix, k.hashed_key, k.name, k.revoked,
       k.expiry_date IS NOT NULL AND k.expiry_date <= %s,
       k.last_used_at IS NULL OR k.last_used_at < %s,
       k.scopes, o.id, o.kind, o.name, o.ready_version,
       m.is_active, m.role, COALESCE((SELECT number FROM core_epoch), 0)
  FROM accounts_apikey k JOIN accounts_organisation o ON o.id = k.organisation_id
  LEFT JOIN accounts_person m ON m.id = k.made_by_id
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


class SignedInRow(NamedTuple):
    """What a poll needs: a sign-in, its person and their organisation, and how often it changed."""

    session_data: str
    person_id: UUID
    name: str
    role: str
    is_active: bool
    password: str
    organisation_id: UUID
    side: str
    ready_version: int
    pages_version: int


_PAGES_VERSION = (
    "SELECT CAST(COALESCE(SUM(v.count), 0) AS bigint)"
    " FROM accounts_pagesversion v WHERE v.organisation_id = "
)
_SIGNED_IN_SQL = f"""
SELECT s.session_data, p.id, p.name, p.role, p.is_active, p.password,
       o.id, o.kind, o.ready_version, ({_PAGES_VERSION} o.id)
  FROM django_session s, accounts_person p JOIN accounts_organisation o ON o.id = p.organisation_id
 WHERE s.session_key = %s AND s.expire_date > %s AND p.id = %s
"""  # noqa: S608  constants


def signed_in_row(*, session_key: str, person_id: UUID, at: datetime) -> SignedInRow | None:
    """Return a sign-in that lasts beside a person, or None; whether it is theirs is not asked here.

    Plain SQL, as for keys: pages are polled all day.
    """
    instant = connection.ops.adapt_datetimefield_value(at)
    with connection.cursor() as cursor:
        cursor.execute(_SIGNED_IN_SQL, [session_key, instant, _id(person_id)])
        row = cursor.fetchone()
    if row is None:
        return None
    found = SignedInRow(*row)
    return found._replace(person_id=person_id, organisation_id=UUID(str(found.organisation_id)))


def pages_version_of(caller: Caller) -> int:
    """Return how often what the caller's pages show has changed."""
    with connection.cursor() as cursor:
        cursor.execute(f"{_PAGES_VERSION} %s", [_id(caller.organisation_id)])
        return int(cursor.fetchone()[0])


def organisation_with_version(organisation_id: UUID) -> tuple[Organisation, int]:
    """Return an organisation, and how often what its pages show has changed: one query."""
    version = RawSQL(f"({_PAGES_VERSION} accounts_organisation.id)", ())  # noqa: S611  a constant
    found = Organisation.objects.annotate(pages_version=version).get(pk=organisation_id)
    return found, int(vars(found)["pages_version"])


def _id(key: UUID) -> UUID | str:
    """Return an id as the database keeps it."""
    return key if connection.features.has_native_uuid_field else key.hex


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


def epoch_of(caller: Caller) -> int:
    """Return the epoch that answers; a key's query has brought it, for a person it is a query."""
    return epoch_number() if caller.epoch is None else caller.epoch


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
    keys: QuerySet[ApiKey] = ApiKey.objects.filter(organisation_id=caller.organisation_id)
    return keys.select_related("made_by")


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


def people_for(caller: Caller) -> QuerySet[Person]:
    """Return the people of the caller's organisation by name, also those switched off."""
    people: QuerySet[Person] = Person.objects.filter(organisation_id=caller.organisation_id)
    return people.order_by("-is_active", "name", "id")


def person_for(caller: Caller, person_id: UUID) -> Person:
    """Return somebody of the caller's organisation. Raises NotFound."""
    person = people_for(caller).filter(pk=person_id).select_related("organisation").first()
    if person is None:
        raise NotFound("There is no such person, or they belong to somebody else.")
    return person


def people_at(workshop: Organisation) -> QuerySet[Person]:
    """Return who may work at the workshop's tablet, by name."""
    return workshop.people.filter(is_active=True).order_by("name", "id")


def pin_state(person: Person) -> str:
    """Return in words how it stands with somebody's PIN."""
    if not person.pin:
        return "none"
    if person.pin_failures >= PIN_TRIES_IN_ALL:
        return "void after too many wrong ones"
    blocked = person.pin_blocked_until
    return "blocked for some minutes" if blocked is not None and blocked > now() else "set"


def dealer_accounts_for(caller: Caller) -> QuerySet[TradeAccount]:
    """Return the workshop's trade accounts by the dealer's name, with `people`, their number."""
    counted = trade_accounts_for(caller).annotate(
        people=Count("dealer__people", filter=Q(dealer__people__is_active=True))
    )
    return counted.order_by("-active", "dealer__name", "id")


def dealer_account_for(caller: Caller, account_id: UUID) -> TradeAccount:
    """Return one of the workshop's trade accounts with `people`. Raises NotFound."""
    account = dealer_accounts_for(caller).filter(pk=account_id).first()
    if account is None:
        raise NotFound("There is no such trade account, or it is not yours.")
    return account


def device_secret_hash(secret: str) -> str:
    """Return what is kept of a tablet's secret; it is random and long, so one round will do."""
    return hashlib.sha256(secret.encode()).hexdigest()


def device_with(secret: str) -> Device | None:
    """Return the workshop's tablet that carries this secret, or None where none may any more.

    It may not once it was taken back or left lying, or its maker left or makes no tablets now.
    """
    if not secret:
        return None
    kept = device_secret_hash(secret)
    return (
        Device.objects.filter(
            Q(secret_hash=kept) | Q(previous_hash=kept),
            revoked_at=None,
            last_used_at__gt=now() - TABLET_LASTS,
            made_by__is_active=True,
            made_by__role__in=TABLET_MAKERS,
        )
        .select_related("workshop")
        .first()
    )


def devices_for(caller: Caller) -> QuerySet[Device]:
    """Return the tablets of the caller's workshop, those in use first."""
    devices = Device.objects.filter(workshop_id=caller.organisation_id).select_related("made_by")
    return devices.order_by(F("revoked_at").desc(nulls_first=True), "-added_at")


def device_for(caller: Caller, device_id: UUID) -> Device:
    """Return a tablet of the caller's workshop. Raises NotFound."""
    device = devices_for(caller).filter(pk=device_id).first()
    if device is None:
        raise NotFound("There is no such tablet, or it is not yours.")
    return device
