"""A workshop's tablets: a browser carries a secret, and with it people change by PIN."""

import secrets
from collections.abc import Collection
from dataclasses import dataclass
from datetime import timedelta
from typing import Any

from django.contrib.auth import SESSION_KEY
from django.contrib.sessions.models import Session
from django.db import transaction
from django.db.models import Q

from accounts.models import TABLET_MAKERS, Device, Organisation, Person
from accounts.selectors import device_secret_hash
from accounts.services.checks import name_error, refuse
from core.clock import now
from core.problems import NotAllowed

MAX_DEVICE_NAME_LENGTH = 60
SECRET_BYTES = 32
USE_NOTED_EVERY = timedelta(minutes=10)
SECRET_NEW_EVERY = timedelta(days=1)
# Where a session says on which tablet it began.
SESSION_DEVICE = "device"


@dataclass(frozen=True, slots=True)
class FreshDevice:
    """A tablet just made one; `secret` goes into its cookie and is kept nowhere else."""

    device: Device
    secret: str


def device_add(*, workshop: Organisation, name: str, person: Person) -> FreshDevice:
    """Make a browser the workshop's tablet, in the name of an owner or manager.

    It ends with them. Raises InvalidRequest for a name that is none, NotAllowed for others.
    """
    if person.role not in TABLET_MAKERS or person.organisation_id != workshop.pk:
        raise NotAllowed(
            "Only an owner or a manager makes a browser the workshop's tablet.",
            next_step="Ask one of them to sign in on it and make it one.",
        )
    refuse(("name", name_error(name, MAX_DEVICE_NAME_LENGTH)))
    secret = secrets.token_urlsafe(SECRET_BYTES)
    device = Device.objects.create(
        workshop=workshop,
        name=name.strip(),
        secret_hash=device_secret_hash(secret),
        secret_at=now(),
        added_by=person.name,
        made_by=person,
        added_at=now(),
        last_used_at=now(),
    )
    return FreshDevice(device=device, secret=secret)


def device_used(*, device: Device) -> None:
    """Note that a tablet is in use, every few minutes at most."""
    moment = now()
    Device.objects.filter(
        Q(last_used_at=None) | Q(last_used_at__lt=moment - USE_NOTED_EVERY), pk=device.pk
    ).update(last_used_at=moment)


def device_secret_renew(*, device: Device, presented: str) -> str:
    """Return the secret that the tablet carries from now on: a new one once a day.

    The one before is good until the new one comes back, since its answer may get lost on the way;
    what was copied out of a cookie is then worth nothing after a day of use.
    """
    moment = now()
    current = Device.objects.filter(pk=device.pk, secret_hash=device_secret_hash(presented))
    current.exclude(previous_hash="").update(previous_hash="")
    secret = secrets.token_urlsafe(SECRET_BYTES)
    # One update that only one of several at once can make: the others carry on with what they have.
    renewed = Device.objects.filter(
        Q(secret_at=None) | Q(secret_at__lt=moment - SECRET_NEW_EVERY), pk=device.pk
    ).update(
        previous_hash=device_secret_hash(presented),
        secret_hash=device_secret_hash(secret),
        secret_at=moment,
    )
    return secret if renewed else presented


@transaction.atomic
def device_revoke(*, device: Device) -> Device:
    """Take a tablet back for good, and end every sign-in that began on it."""
    devices_revoke([device])
    device.refresh_from_db(fields=["revoked_at"])
    return device


def devices_revoke(devices: Collection[Device], *, person: Person | None = None) -> None:
    """Take tablets back, and end what was signed in on them, or as the person anywhere."""
    keys = [device.pk for device in devices]
    Device.objects.filter(pk__in=keys, revoked_at=None).update(revoked_at=now())
    tablets = {str(key) for key in keys}
    ended: list[Any] = []
    for session in Session.objects.filter(expire_date__gt=now()).iterator():
        about = session.get_decoded()
        theirs = person is not None and about.get(SESSION_KEY) == str(person.pk)
        if theirs or about.get(SESSION_DEVICE) in tablets:
            ended.append(session.pk)
    Session.objects.filter(pk__in=ended).delete()
