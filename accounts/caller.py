"""Who is asking: one value for a person's sign-in and a system's key alike."""

from dataclasses import dataclass, field
from enum import StrEnum
from typing import Final, cast
from uuid import UUID

from rest_framework.request import Request
from structlog.contextvars import bind_contextvars


class Side(StrEnum):
    """Which side of the work an organisation stands on."""

    DEALER = "dealer"
    WORKSHOP = "workshop"


class Scope(StrEnum):
    """What a key may be allowed to do; a person's role carries a set of the same scopes."""

    READ = "jobs.read"
    ORDER = "orders.write"
    WORK = "jobs.work"
    DECIDE = "orders.decide"
    OVERRIDE = "jobs.override"
    NOTICES = "notices.manage"
    PRICES = "prices.read"
    FLOW = "flow.read"
    FORECAST = "forecast.write"


@dataclass(frozen=True, slots=True)
class Caller:
    """An authenticated caller and all that decides what it may see and do."""

    organisation_id: UUID
    side: Side
    scopes: frozenset[str]
    name: str
    person_id: UUID | None = None
    role: str = ""
    key_prefix: str = ""
    # The role of whoever made the key, which binds it; empty where the operator did.
    bound_to: str = ""
    feed_version: int = field(default=0, compare=False)
    # The epoch of the database (core/epoch.py), where the query that found the caller brought it.
    epoch: int | None = field(default=None, compare=False)
    # How often what the pages of a person's organisation show had changed when they came in.
    pages_version: int = field(default=0, compare=False)

    @property
    def limit_key(self) -> str:
        """Return what a caller's requests are counted under."""
        return self.key_prefix or str(self.person_id)

    def may(self, scope: Scope) -> bool:
        """Return whether the caller holds the scope."""
        return scope in self.scopes


@dataclass(frozen=True, slots=True)
class Access:
    """What one method of a view asks of its caller.

    `people_only` keeps systems' keys out; `roles`, where any are named, lets no other person in,
    and no key that somebody of another role made.
    """

    scope: Scope | None
    sides: frozenset[Side] = frozenset(Side)
    people_only: bool = False
    roles: frozenset[str] = frozenset()


# For a method that anyone may call, signed in or not. One that says nothing is closed to everybody.
OPEN: Final = None


def dealers(scope: Scope) -> Access:
    """Ask for a dealer's caller with the scope."""
    return Access(scope, frozenset({Side.DEALER}))


def workshops(scope: Scope) -> Access:
    """Ask for a workshop's caller with the scope."""
    return Access(scope, frozenset({Side.WORKSHOP}))


def either(scope: Scope | None) -> Access:
    """Ask for any caller with the scope, or any signed-in caller where it is None."""
    return Access(scope)


def people(*roles: str, sides: frozenset[Side] = frozenset(Side)) -> Access:
    """Ask for a signed-in person, of one of the roles where any are given; never for a key."""
    return Access(None, sides, people_only=True, roles=frozenset(roles))


def shown_to(caller: Caller) -> dict[str, bool]:
    """Return the context of an answer to a caller: amounts of money need the scope prices.read."""
    return {"shows_money": caller.may(Scope.PRICES)}


def name_in_log(caller: Caller) -> None:
    """Have every further line about this request say by id who asks."""
    kind = "key" if caller.key_prefix else "person"
    name_by_ids(f"{kind}:{caller.limit_key}", caller.organisation_id)


def name_by_ids(caller: str, organisation_id: UUID | None) -> None:
    """Do the same for who is not a Caller yet."""
    bind_contextvars(caller=caller, organisation_id=str(organisation_id))


def caller_of(request: Request) -> Caller:
    """Return the caller that authentication found."""
    return cast("Caller", request.auth)
