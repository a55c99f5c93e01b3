"""People: who signs in, as what, and with which password."""

import secrets

import structlog
from django.contrib.auth.password_validation import validate_password
from django.core.exceptions import ValidationError
from django.db import IntegrityError, transaction

from accounts.caller import Caller
from accounts.models import SIDE_ROLES, Organisation, Person, TradeAccount
from accounts.services.checks import email_error, name_error, refuse
from accounts.services.leaving import ways_in_close
from core.problems import Conflict, NotAllowed

log = structlog.get_logger(__name__)


def role_error(kind: str, role: str) -> str:
    """Return what is wrong with a role at this kind of organisation, or an empty text."""
    roles = sorted(SIDE_ROLES[kind])
    return "" if role in roles else f"A {kind} has these roles: {', '.join(roles)}."


def password_error(password: str) -> str:
    """Return what is wrong with a password, or an empty text."""
    try:
        validate_password(password)
    except ValidationError as error:
        return " ".join(error.messages)
    return ""


def _made() -> str:
    return secrets.token_urlsafe(12)


def person_add(
    *, organisation: Organisation, email: str, name: str, role: str, password: str = ""
) -> tuple[Person, str]:
    """Make a person; return them and the password, made here where none was given."""
    chosen = password or _made()
    refuse(
        ("name", name_error(name)),
        ("email", email_error(email)),
        ("role", role_error(organisation.kind, role)),
        ("password", password_error(chosen)),
    )
    try:
        with transaction.atomic():
            person = Person.objects.create_user(
                email, chosen, name=name.strip(), role=role, organisation=organisation
            )
    except IntegrityError as error:
        raise Conflict(f"Somebody signs in as {email!r} already.") from error
    return person, chosen


@transaction.atomic
def dealer_person_add(*, account: TradeAccount, email: str, name: str) -> tuple[Person, str]:
    """Make the first person of a dealer that deals with this workshop alone; see person_add.

    Raises Conflict where the dealer has people already, or deals with others: whom such a dealer
    lets in is not for one workshop to say.
    """
    dealer = Organisation.objects.select_for_update(no_key=True).get(pk=account.dealer_id)
    if dealer.people.exists():
        raise Conflict(
            f"{dealer} has somebody who signs in already.",
            next_step="A lost password or a further person is for the operator of this service.",
        )
    if dealer.workshop_accounts.count() > 1:
        raise Conflict(
            f"{dealer} deals with other workshops as well.",
            next_step="Ask the operator of this service to add its people.",
        )
    return person_add(organisation=dealer, email=email, name=name, role=Person.Role.STAFF)


@transaction.atomic
def person_change(
    *, caller: Caller, person: Person, name: str, role: str, is_active: bool
) -> Person:
    """Change what somebody of the caller's organisation is called, may do, or whether they may.

    Whoever is switched off is signed out at once, and what was made in their name ends. Raises
    NotAllowed where only an owner may, and Conflict for oneself and for the last owner.
    """
    # The lock makes two owners who switch each other off at once wait for one another.
    place = Organisation.objects.select_for_update(no_key=True).get(pk=caller.organisation_id)
    person.refresh_from_db()
    refuse(("name", name_error(name)), ("role", role_error(place.kind, role)))
    if role != person.role or is_active != person.is_active:
        refuse_above(caller, person.role, role)
        _refuse_last(caller, person, stays=is_active and role == Person.Role.OWNER)
    if person.pk == caller.person_id and not is_active:
        raise Conflict(
            "You cannot switch yourself off.", next_step="Ask another owner or manager to do it."
        )
    person.name, person.role, person.is_active = name.strip(), role, is_active
    person.save(update_fields=["name", "role", "is_active"])
    ways_in_close(person=person)
    log.info("person_changed", person_id=str(person.pk), role=role, is_active=is_active)
    return person


def refuse_above(caller: Caller, *roles: str) -> None:
    """Raise NotAllowed where somebody who is no owner makes one, or changes one."""
    owner = Person.Role.OWNER
    if owner in roles and caller.role != owner:
        raise NotAllowed(
            "Only an owner makes somebody an owner, or changes what an owner may do.",
            next_step="Ask an owner of your workshop.",
        )


def _refuse_last(caller: Caller, person: Person, *, stays: bool) -> None:
    if stays or person.role != Person.Role.OWNER or not person.is_active:
        return
    fellow_owners = Person.objects.filter(
        organisation_id=caller.organisation_id, role=Person.Role.OWNER, is_active=True
    ).exclude(pk=person.pk)
    if not fellow_owners.exists():
        raise Conflict(
            f"{person} is the only owner.", next_step="Make somebody else an owner first."
        )


def password_renew(*, caller: Caller, person: Person) -> str:
    """Give somebody of the caller's organisation a new password, and return it.

    Their sign-ins end. Raises NotAllowed where a manager would get hold of an owner's sign-in.
    """
    refuse_above(caller, person.role)
    password = _made()
    _password_write(person, password)
    return password


def password_change(*, person: Person, password: str) -> None:
    """Set somebody's own new password; their other sign-ins end. Raises InvalidRequest."""
    refuse(("password", password_error(password)))
    _password_write(person, password)


def _password_write(person: Person, password: str) -> None:
    person.set_password(password)
    person.save(update_fields=["password"])
    log.info("password_changed", person_id=str(person.pk))
