"""Everything that changes an account: one verb, one transaction."""

import secrets
from collections.abc import Collection
from dataclasses import dataclass
from datetime import datetime
from uuid import UUID

from django.contrib.auth.password_validation import validate_password
from django.core.exceptions import ValidationError
from django.core.validators import validate_email
from django.db import IntegrityError, transaction
from django.db.models import F

from accounts.models import SIDE_ROLES, SIDE_SCOPES, ApiKey, Organisation, Person, TradeAccount
from core.api.caller import Side
from core.clock import now
from core.problems import Conflict, FieldError, InvalidRequest

MAX_NAME_LENGTH = 120
MAX_KEY_NAME_LENGTH = 50


@dataclass(frozen=True, slots=True)
class FreshKey:
    """A key just made; `secret` is not kept anywhere and is shown this once."""

    key: ApiKey
    secret: str


def _refuse(*errors: tuple[str, str]) -> None:
    wrong: list[FieldError] = [
        {"field": name, "message": message} for name, message in errors if message
    ]
    if wrong:
        named = " ".join(f"{entry['field']}: {entry['message']}" for entry in wrong)
        raise InvalidRequest(named, errors=wrong)


def _name_error(name: str, longest: int = MAX_NAME_LENGTH) -> str:
    if not name.strip() or not name.isprintable():
        return "Give a name, in printable characters."
    if len(name.strip()) > longest:
        return f"At most {longest} characters."
    return ""


def _email_error(email: str) -> str:
    try:
        validate_email(email)
    except ValidationError:
        return "Not an e-mail address."
    return ""


def role_error(kind: str, role: str) -> str:
    """Return what is wrong with a role at this kind of organisation, or an empty text."""
    roles = sorted(SIDE_ROLES[kind])
    return "" if role in roles else f"A {kind} has these roles: {', '.join(roles)}."


def scope_error(kind: str, scopes: Collection[str]) -> str:
    """Return what is wrong with the scopes of a key for this kind of organisation, or nothing."""
    allowed = sorted(SIDE_SCOPES[kind])
    wrong = sorted(set(scopes) - set(allowed))
    if scopes and not wrong:
        return ""
    named = f"Not for a {kind}: {', '.join(wrong)}. " if wrong else ""
    return f"{named}Choose from: {', '.join(allowed)}."


def _organisation_add(*, kind: Side, name: str, contact_email: str) -> Organisation:
    _refuse(
        ("name", _name_error(name)),
        ("contact_email", _email_error(contact_email) if contact_email else ""),
    )
    try:
        with transaction.atomic():
            return Organisation.objects.create(
                kind=kind.value, name=name.strip(), contact_email=contact_email
            )
    except IntegrityError as error:
        raise Conflict(
            f"There is a {kind} called {name!r} already.", next_step="Choose another name."
        ) from error


def workshop_add(*, name: str, contact_email: str = "") -> Organisation:
    """Make a workshop. Raises InvalidRequest, or Conflict where the name is taken."""
    return _organisation_add(kind=Side.WORKSHOP, name=name, contact_email=contact_email)


@transaction.atomic
def dealer_add(
    *, name: str, workshop: Organisation, accepts_by_itself: bool = True, contact_email: str = ""
) -> TradeAccount:
    """Make a dealer with a trade account at the workshop."""
    dealer = _organisation_add(kind=Side.DEALER, name=name, contact_email=contact_email)
    return trade_account_open(dealer=dealer, workshop=workshop, accepts_by_itself=accepts_by_itself)


def trade_account_open(
    *, dealer: Organisation, workshop: Organisation, accepts_by_itself: bool
) -> TradeAccount:
    """Open a trade account between a dealer and a workshop."""
    _refuse(
        ("dealer", "" if dealer.kind == Side.DEALER else "This is not a dealer."),
        ("workshop", "" if workshop.kind == Side.WORKSHOP else "This is not a workshop."),
    )
    try:
        with transaction.atomic():
            return TradeAccount.objects.create(
                dealer=dealer, workshop=workshop, accepts_by_itself=accepts_by_itself
            )
    except IntegrityError as error:
        raise Conflict(f"{dealer} has an account with {workshop} already.") from error


def trade_account_change(*, account: TradeAccount, accepts_by_itself: bool) -> TradeAccount:
    """Say whether the workshop takes this dealer's orders without being asked for each."""
    account.accepts_by_itself = accepts_by_itself
    account.save(update_fields=["accepts_by_itself"])
    return account


def person_add(
    *, organisation: Organisation, email: str, name: str, role: str, password: str = ""
) -> tuple[Person, str]:
    """Make a person; return them and the password, made here where none was given."""
    chosen = password or secrets.token_urlsafe(12)
    try:
        validate_password(chosen)
        password_error = ""
    except ValidationError as error:
        password_error = " ".join(error.messages)
    _refuse(
        ("name", _name_error(name)),
        ("email", _email_error(email)),
        ("role", role_error(organisation.kind, role)),
        ("password", password_error),
    )
    try:
        with transaction.atomic():
            person = Person.objects.create_user(
                email, chosen, name=name.strip(), role=role, organisation=organisation
            )
    except IntegrityError as error:
        raise Conflict(f"Somebody signs in as {email!r} already.") from error
    return person, chosen


def key_add(
    *,
    organisation: Organisation,
    name: str,
    scopes: Collection[str],
    expires_at: datetime | None = None,
) -> FreshKey:
    """Make a key for an organisation's system; the secret is in the answer and nowhere else."""
    _refuse(
        ("name", _name_error(name, MAX_KEY_NAME_LENGTH)),
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


def ready_version_raise(*, dealer_id: UUID) -> int:
    """Count a change to the dealer's ready cars and return the new count.

    The row stays locked until the caller's transaction ends, so counts are given out in the
    order the transactions commit: a cursor made of them never passes over a car.
    """
    Organisation.objects.filter(pk=dealer_id).update(ready_version=F("ready_version") + 1)
    return Organisation.objects.values_list("ready_version", flat=True).get(pk=dealer_id)
