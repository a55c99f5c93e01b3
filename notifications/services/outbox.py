"""The outbox: an event is written in the transaction of the change it tells of."""

from collections.abc import Mapping, Sequence
from datetime import datetime
from typing import Any
from uuid import UUID

from django.db import transaction

from core.api.rendering import to_json
from core.clock import now
from core.tracing import here
from notifications.catalogue import event_types
from notifications.letter import Letter
from notifications.models import Event
from notifications.services.wake import wake_deliverer


def event_append(
    *,
    type: str,  # noqa: A002  the word of Standard Webhooks for it
    subject_id: UUID,
    occurred_at: datetime,
    data: Mapping[str, Any],
    dealer_id: UUID | None = None,
    workshop_id: UUID | None = None,
    only_endpoint_id: UUID | None = None,
    urgent: bool = False,
    also_to: Sequence[str] = (),
    letter: Letter | None = None,
    also_types: Sequence[str] = (),
) -> Event:
    """Write one event for the dealer and the workshop concerned; call it inside the transaction.

    `data` must fit the type's schema; it is stored as the bytes that will be signed and sent.
    `urgent` sends it to every endpoint that is on, whatever types it asked for. `also_to` are
    e-mail addresses of the dealer's that get it in any case. `also_types`: whoever takes one of
    these types gets it as well, for it puts right what they were told. `letter` is for the
    dealer's e-mails alone: what must stand neither in the feed nor in a webhook, such as a price
    or a link that answers.

    The wake-up is only a hint sent after the commit: losing it costs time, not the event.
    """
    if type not in event_types():
        raise ValueError(f"No event type {type!r} is registered.")
    if not transaction.get_connection().in_atomic_block:
        raise RuntimeError("event_append must run inside the transaction of the change.")
    body = to_json({"type": type, "timestamp": occurred_at, "data": data}).decode()
    event = Event.objects.create(
        type=type,
        dealer_id=dealer_id,
        workshop_id=workshop_id,
        subject_id=subject_id,
        only_endpoint_id=only_endpoint_id,
        occurred_at=occurred_at,
        recorded_at=now(),
        body=body,
        urgent=urgent,
        also_to="\n".join(also_to),
        also_types="\n".join(also_types),
        letter=letter.sealed() if letter else "",
        trace=here(),
    )
    transaction.on_commit(wake_deliverer)
    return event
