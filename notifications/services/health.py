"""The health of endpoints: warn while one fails, then stop sending to it, and say so.

Nobody is cut off unwarned: an endpoint is disabled only when its warning has been out for a while.
Where the warning itself cannot be sent, the endpoint stays on.
"""

from collections.abc import Sequence
from datetime import datetime, timedelta
from smtplib import SMTPException
from uuid import UUID

import structlog
from django.conf import settings
from django.core.mail import EmailMessage
from django.db import transaction

from accounts.models import Person
from core.clock import now
from core.counting import FAILED, GOOD
from notifications.mail import disabled_mail, warning_mail
from notifications.models import Endpoint
from notifications.numbers import EMAILS
from notifications.services.waiting import waiting_stop

log = structlog.get_logger(__name__)

# However late the warning went out, it comes this long before the end.
NOTICE = timedelta(hours=24)
TOLD = (Person.Role.OWNER, Person.Role.MANAGER, Person.Role.STAFF)


def endpoints_review() -> None:
    """Warn about endpoints that have failed for long, and disable those failing for longer.

    Safe to run twice at once: whoever changes the row sends the message.
    """
    at = now()
    # A direct one has no owner who could mend it: its notices are given up one by one.
    failing = Endpoint.objects.filter(state=Endpoint.State.ON, deleted_at=None, direct=False)
    first_failed_by = at - timedelta(hours=settings.WARN_AFTER_HOURS)
    for endpoint in failing.filter(failing_since__lte=first_failed_by, warned_at=None):
        _warn(endpoint)
    disable_after = timedelta(hours=settings.DISABLE_AFTER_HOURS)
    notice = min(NOTICE, disable_after - timedelta(hours=settings.WARN_AFTER_HOURS))
    failed_for_long = failing.filter(failing_since__lte=at - disable_after)
    for endpoint in failed_for_long.filter(warned_at__lte=at - notice):
        _disable(endpoint)


@transaction.atomic
def endpoint_disable(
    *, endpoint_id: UUID, reason: str, failing_since: datetime | None = None
) -> Endpoint | None:
    """Disable an endpoint and stop what waits for it.

    None where it is not on any more, or, if `failing_since` is given, has not failed since then.
    """
    on = Endpoint.objects.filter(pk=endpoint_id, state=Endpoint.State.ON, deleted_at=None)
    if failing_since is not None:
        on = on.filter(failing_since=failing_since)
    if not on.update(state=Endpoint.State.DISABLED, state_reason=reason):
        return None
    waiting_stop(endpoint_id=endpoint_id, at=now())
    log.warning("endpoint_disabled", endpoint_id=str(endpoint_id), reason=reason)
    return Endpoint.objects.select_related("organisation").get(pk=endpoint_id)


def disabled_message(*, endpoint: Endpoint) -> EmailMessage:
    """Return the message that tells an endpoint's owner that it was disabled."""
    return disabled_mail(endpoint=endpoint, recipients=_told(endpoint))


def message_send(*, message: EmailMessage, endpoint: Endpoint) -> bool:
    """Send a message about an endpoint, outside any transaction; say whether it went out.

    Where nobody can be told, the log says so, and that counts as told.
    """
    if not message.to:
        log.error("endpoint_owner_has_no_address", endpoint_id=str(endpoint.pk))
        return True
    try:
        message.send()
    except (SMTPException, OSError):
        EMAILS.labels("endpoint", FAILED).inc()
        log.exception("endpoint_message_not_sent", endpoint_id=str(endpoint.pk))
        return False
    EMAILS.labels("endpoint", GOOD).inc()
    return True


def _warn(endpoint: Endpoint) -> None:
    at = now()
    unwarned = Endpoint.objects.filter(
        pk=endpoint.pk, warned_at=None, failing_since=endpoint.failing_since
    )
    if not unwarned.update(warned_at=at):
        return  # somebody else warns, or it works again
    message = warning_mail(endpoint=endpoint, recipients=_told(endpoint))
    if not message_send(message=message, endpoint=endpoint):
        Endpoint.objects.filter(pk=endpoint.pk, warned_at=at).update(warned_at=None)


def _disable(endpoint: Endpoint) -> None:
    disabled = endpoint_disable(
        endpoint_id=endpoint.pk,
        reason=f"Nothing arrived for {settings.DISABLE_AFTER_HOURS} hours.",
        failing_since=endpoint.failing_since,
    )
    if disabled is not None:
        message_send(message=disabled_message(endpoint=disabled), endpoint=disabled)


def _told(endpoint: Endpoint) -> Sequence[str]:
    """Return who is told about an endpoint: its owner's contact, else the people in charge."""
    organisation = endpoint.organisation
    if organisation.contact_email:
        return [organisation.contact_email]
    people = organisation.people.filter(is_active=True, role__in=TOLD).order_by("created_at")
    return list(people.values_list("email", flat=True))
