"""The short number that changes the person at a workshop's tablet.

A try is counted before the PIN is looked at, by one guarded update, so that many at once get no
more tries than one after the other; the right PIN then wipes the count.
"""

from datetime import timedelta
from uuid import UUID

import structlog
from django.contrib.auth.hashers import check_password, make_password
from django.db import transaction
from django.db.models import Case, DateTimeField, F, Q, Value, When

from accounts.caller import Side
from accounts.models import Person
from accounts.selectors import PIN_TRIES_IN_ALL
from accounts.services.checks import refuse
from core.clock import now
from core.problems import NotSignedIn, TooManyRequests

log = structlog.get_logger(__name__)

MIN_DIGITS, MAX_DIGITS = 4, 8
TRIES_BEFORE_BLOCK = 5
BLOCKED_FOR = timedelta(minutes=15)
LAST_BEFORE_BLOCK = tuple(range(TRIES_BEFORE_BLOCK - 1, PIN_TRIES_IN_ALL, TRIES_BEFORE_BLOCK))
RUNS = ("01234567890123456", "65432109876543210")


def pin_error(pin: str) -> str:
    """Return what is wrong with a PIN, or an empty text."""
    if not (pin.isascii() and pin.isdigit() and MIN_DIGITS <= len(pin) <= MAX_DIGITS):
        return f"Give {MIN_DIGITS} to {MAX_DIGITS} digits and nothing else."
    if len(set(pin)) == 1:
        return "The same digit again and again is the first thing that is tried. Mix them."
    if any(pin in run for run in RUNS):
        return "Digits in a row are the first thing that is tried. Mix them."
    return ""


def pin_set(*, person: Person, pin: str) -> Person:
    """Give somebody of a workshop a PIN, and wipe the count of wrong ones.

    Raises InvalidRequest for one that is too short, too long or too easy.
    """
    organisation = person.organisation
    works = organisation is not None and organisation.kind == Side.WORKSHOP
    refuse(("pin", pin_error(pin) if works else "Only people of a workshop have a PIN."))
    return _pin_write(person, make_password(pin))


def pin_void(*, person: Person) -> Person:
    """Take somebody's PIN away; they may set another with their password."""
    return _pin_write(person, "")


def _pin_write(person: Person, kept: str) -> Person:
    person.pin, person.pin_failures, person.pin_blocked_until = kept, 0, None
    person.save(update_fields=["pin", "pin_failures", "pin_blocked_until"])
    return person


def pin_failures_forget(*, person: Person) -> None:
    """Wipe the count of wrong PINs, since the password was right; a PIN that is void is gone."""
    Person.objects.filter(pk=person.pk, pin_failures__gt=0).update(
        pin=Case(When(pin_failures__gte=PIN_TRIES_IN_ALL, then=Value("")), default=F("pin")),
        pin_failures=0,
        pin_blocked_until=None,
    )


def pin_check(*, workshop_id: UUID, person_id: UUID, pin: str) -> Person:
    """Return the active person of the workshop whose PIN this is.

    Raises NotSignedIn, with the same words for a wrong PIN, none, one that is void, and a person
    who is not there; and TooManyRequests while the person's PIN is blocked.
    """
    person = _counted(workshop_id, person_id)
    if person is None:
        make_password(pin)  # takes the time that looking at a PIN takes
        raise _refused()
    if not _is_pin(person, pin):
        log.warning("pin_refused", person_id=str(person.pk), failures=person.pin_failures)
        if person.pin_failures % TRIES_BEFORE_BLOCK == 0:
            raise _blocked()
        raise _refused()
    # Guarded by the PIN that was looked at: it may have been changed or taken away meanwhile.
    unchanged = Person.objects.filter(pk=person.pk, pin=person.pin, is_active=True)
    if not unchanged.update(pin_failures=0, pin_blocked_until=None):
        raise _refused()
    return person


def _is_pin(person: Person, pin: str) -> bool:
    if person.pin:
        return check_password(pin, person.pin)
    make_password(pin)
    return False


def _counted(workshop_id: UUID, person_id: UUID) -> Person | None:
    """Count a try as if it had failed, and return the person with the count it made."""
    moment = now()
    # Columns of the person alone: with a join Django asks for the rows in a subquery, which
    # PostgreSQL does not look at again after waiting for the row, and every try would be a first.
    there = Person.objects.filter(pk=person_id, organisation_id=workshop_id, is_active=True)
    open_to_try = there.filter(
        Q(pin_blocked_until=None) | Q(pin_blocked_until__lte=moment),
        pin_failures__lt=PIN_TRIES_IN_ALL,
    )
    blocked = When(pin_failures__in=LAST_BEFORE_BLOCK, then=Value(moment + BLOCKED_FOR))
    with transaction.atomic():
        # One statement, so that of many tries at once no two are the same one.
        counted = open_to_try.update(
            pin_failures=F("pin_failures") + 1,
            pin_blocked_until=Case(blocked, default=None, output_field=DateTimeField(null=True)),
        )
        if counted:
            return there.select_related("organisation").get()
    if there.filter(pin_blocked_until__gt=moment).exists():
        raise _blocked()
    return None


def _refused() -> NotSignedIn:
    return NotSignedIn(
        "That is not the PIN.",
        next_step="Try again. Whoever has no PIN, or lost it, signs in with e-mail address and "
        "password, and sets one under their own name.",
    )


def _blocked() -> TooManyRequests:
    minutes = int(BLOCKED_FOR.total_seconds() // 60)
    return TooManyRequests(
        f"Too many wrong PINs in a row: this person's PIN is not taken for {minutes} minutes.",
        next_step="Wait, or sign in with e-mail address and password.",
        headers={"Retry-After": str(60 * minutes)},
    )
