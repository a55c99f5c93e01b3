"""Wrong passwords and PINs, counted: by address, by person, and in all.

django-axes stops one address that guesses at one person. Whoever guesses at many people from one
address, or at one person from many, is stopped here. A count that is full refuses strangers only:
a person at an address where they have signed in before stays welcome, so that nobody can lock out
a person they know of from elsewhere.
"""

import hashlib
import hmac
from dataclasses import dataclass
from datetime import timedelta
from uuid import UUID

from django.conf import settings
from django.contrib.sessions.models import Session
from django.db.models import F

from accounts.models import Guesses, KnownPlace
from core.client_address import neighbourhood
from core.clock import now
from core.problems import TooManyRequests

WINDOW_SECONDS = 15 * 60
IN_ALL = "all"
# A place is forgotten when nobody signed in there for as long as a tablet stays one.
PLACE_KEPT = timedelta(days=400)
USE_NOTED_EVERY = timedelta(days=1)


@dataclass(frozen=True, slots=True)
class Count:
    """What is counted under a subject, and how many it may be within a quarter of an hour."""

    subject: str
    limit: int


def guesses_check(*, email: str, address: str) -> None:
    """Raise TooManyRequests where no further password is taken from a stranger."""
    full = _full(_password_counts(email, address))
    if full and not _is_known(email, address):
        raise _too_many("wrong passwords", "somebody who signed in here before still can")


def guess_wrong(*, email: str, address: str) -> None:
    """Count a wrong password."""
    for count in _password_counts(email, address):
        _add(count.subject)


def pin_guesses_check(*, address: str) -> None:
    """Raise TooManyRequests where no further PIN is taken from an address."""
    if _full([_pin_count(address)]):
        raise _too_many("wrong PINs", "or sign in with e-mail address and password")


def pin_guess_wrong(*, address: str) -> None:
    """Count a wrong PIN."""
    _add(_pin_count(address).subject)


def place_note(*, person_id: UUID, address: str) -> None:
    """Remember that a person signed in at an address."""
    moment, place = now(), _secret_name(neighbourhood(address))
    found, made = KnownPlace.objects.get_or_create(
        person_id=person_id, place=place, defaults={"last_used_at": moment}
    )
    if not made and found.last_used_at < moment - USE_NOTED_EVERY:
        KnownPlace.objects.filter(pk=found.pk).update(last_used_at=moment)


def sign_ins_purge() -> None:
    """Delete sessions that have expired, and counts and places that are over."""
    moment = now()
    Session.objects.filter(expire_date__lt=moment).delete()
    Guesses.objects.filter(window__lt=_window() - 1).delete()
    KnownPlace.objects.filter(last_used_at__lt=moment - PLACE_KEPT).delete()


def _password_counts(email: str, address: str) -> list[Count]:
    place = neighbourhood(address)
    return [
        Count(_secret_name(f"address {place}"), settings.GUESSES_PER_ADDRESS),
        Count(_secret_name(f"person {email.lower()}"), settings.GUESSES_PER_PERSON),
        Count(IN_ALL, settings.GUESSES_IN_ALL),
    ]


def _pin_count(address: str) -> Count:
    return Count(_secret_name(f"pin {neighbourhood(address)}"), settings.GUESSES_PER_ADDRESS)


def _full(counts: list[Count]) -> bool:
    limits = {count.subject: count.limit for count in counts}
    rows = Guesses.objects.filter(window=_window(), subject__in=limits)
    return any(count >= limits[subject] for subject, count in rows.values_list("subject", "count"))


def _is_known(email: str, address: str) -> bool:
    place = _secret_name(neighbourhood(address))
    return KnownPlace.objects.filter(person__email=email.lower(), place=place).exists()


def _add(subject: str) -> None:
    """Add one to a count; of many at once none is lost."""
    row = Guesses.objects.filter(window=_window(), subject=subject)
    if not row.update(count=F("count") + 1):
        fresh = Guesses(window=_window(), subject=subject)
        Guesses.objects.bulk_create([fresh], ignore_conflicts=True)
        row.update(count=F("count") + 1)


def _window() -> int:
    return int(now().timestamp()) // WINDOW_SECONDS


def _secret_name(text: str) -> str:
    """Return what an address is kept as: the table shall not say who was where."""
    key = settings.SECRET_KEY.encode()
    return hmac.new(key, text.encode(), hashlib.sha256).hexdigest()


def _too_many(what: str, otherwise: str) -> TooManyRequests:
    seconds = WINDOW_SECONDS - int(now().timestamp()) % WINDOW_SECONDS
    return TooManyRequests(
        f"Too many {what}: from this address, for this person, or in all.",
        next_step=f"Wait {-(-seconds // 60)} minutes, then try again; {otherwise}.",
        headers={"Retry-After": str(seconds)},
    )
