"""A workshop's tablets: a browser carries a secret, and with it people change by PIN."""

import secrets
from dataclasses import dataclass
from datetime import timedelta
from typing import Any

from django.contrib.sessions.models import Session
from django.db import transaction
from django.db.models import Q

from accounts.models import Device, Organisation
from accounts.selectors import device_secret_hash
from accounts.services.checks import name_error, refuse
from core.clock import now

MAX_DEVICE_NAME_LENGTH = 60
SECRET_BYTES = 32
USE_NOTED_EVERY = timedelta(minutes=10)
# Where a session says on which tablet it began.
SESSION_DEVICE = "device"


@dataclass(frozen=True, slots=True)
class FreshDevice:
    """A tablet just made one; `secret` goes into its cookie and is kept nowhere else."""

    device: Device
    secret: str


def device_add(*, workshop: Organisation, name: str, added_by: str) -> FreshDevice:
    """Make a browser the workshop's tablet. Raises InvalidRequest for a name that is none."""
    refuse(("name", name_error(name, MAX_DEVICE_NAME_LENGTH)))
    secret = secrets.token_urlsafe(SECRET_BYTES)
    device = Device.objects.create(
        workshop=workshop,
        name=name.strip(),
        secret_hash=device_secret_hash(secret),
        added_by=added_by,
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


@transaction.atomic
def device_revoke(*, device: Device) -> Device:
    """Take a tablet back for good, and end every sign-in that began on it."""
    Device.objects.filter(pk=device.pk, revoked_at=None).update(revoked_at=now())
    device.refresh_from_db(fields=["revoked_at"])
    begun_there: list[Any] = [
        one.pk
        for one in Session.objects.filter(expire_date__gt=now()).iterator()
        if one.get_decoded().get(SESSION_DEVICE) == str(device.pk)
    ]
    Session.objects.filter(pk__in=begun_there).delete()
    return device
