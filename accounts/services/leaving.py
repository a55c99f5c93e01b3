"""What ends with somebody: the ways in that were made in their name."""

from dataclasses import dataclass

import structlog
from django.db import transaction
from django.db.models import QuerySet

from accounts.models import TABLET_MAKERS, ApiKey, Device, Person
from accounts.services.devices import devices_revoke

log = structlog.get_logger(__name__)


@dataclass(frozen=True, slots=True)
class WaysIn:
    """The tablets and keys made in somebody's name that work still."""

    tablets: tuple[Device, ...] = ()
    keys: tuple[ApiKey, ...] = ()


def ways_in_of(person: Person) -> WaysIn:
    """Return the tablets and keys made in somebody's name that were not ended yet."""
    devices: QuerySet[Device] = person.devices_made.filter(revoked_at=None)
    keys: QuerySet[ApiKey] = person.keys_made.filter(revoked=False)
    return WaysIn(tuple(devices.order_by("name")), tuple(keys.order_by("name")))


@transaction.atomic
def ways_in_close(*, person: Person) -> WaysIn:
    """End what somebody may not have any more, as they stand now, and return what was ended.

    Whoever may not sign in loses their sign-ins, PIN, keys and tablets; whoever makes no tablets
    any more, the tablets with what is signed in there. Their keys do what the role may from then
    on, no more.
    """
    open_still = ways_in_of(person)
    if person.is_active and person.role in TABLET_MAKERS:
        return WaysIn()
    if person.is_active:
        closed = WaysIn(open_still.tablets)
        devices_revoke(closed.tablets)
    else:
        closed = open_still
        devices_revoke(closed.tablets, person=person)
        ApiKey.objects.filter(made_by=person, revoked=False).update(revoked=True)
        Person.objects.filter(pk=person.pk).update(pin="", pin_failures=0, pin_blocked_until=None)
    log.info(
        "ways_in_closed",
        person_id=str(person.pk),
        tablets=len(closed.tablets),
        keys=len(closed.keys),
    )
    return closed
