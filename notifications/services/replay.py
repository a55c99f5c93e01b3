"""Replay: sends again what was sent before, or what happened while an endpoint was off.

The event stays the same, so the id on the wire does too, and receivers that remember ids act once.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime
from uuid import UUID

from django.db import transaction
from django.db.models import Q

from accounts.caller import Caller
from core.clock import now
from core.problems import InvalidRequest
from notifications.models import Delivery, Endpoint, Event
from notifications.selectors import (
    delivery_of,
    endpoint_for_change,
    events_of,
    refuse_gone,
)
from notifications.services.endpoints import refuse_unless_on
from notifications.services.waiting import lock_in_order
from notifications.services.wake import wake_deliverer

# What one call looks at: it keeps the transaction short; the cursor in its answer goes on.
MOST_EVENTS = 1000


@dataclass(frozen=True, slots=True)
class Replayed:
    """What one call set on its way: how many, how far it came, and whether there is more."""

    count: int
    cursor: int
    more: bool


@transaction.atomic
def delivery_replay(
    *, caller: Caller, channel: Endpoint.Channel, endpoint_id: UUID, delivery_id: UUID
) -> Delivery:
    """Send one delivery again from the first attempt, whatever became of it.

    One that is being sent at this moment is left to arrive. Raises NotFound, EndpointNotOn.
    """
    endpoint = endpoint_for_change(caller, channel, endpoint_id)
    delivery = delivery_of(endpoint, delivery_id)
    refuse_unless_on(endpoint)
    _reset(endpoint, [delivery.event_id], now())
    transaction.on_commit(wake_deliverer)
    return delivery_of(endpoint, delivery_id)


@transaction.atomic
def range_replay(
    *,
    caller: Caller,
    channel: Endpoint.Channel,
    endpoint_id: UUID,
    since: datetime,
    until: datetime,
    event_types: Sequence[str] = (),
    only_failed: bool = False,
    after: int = 0,
) -> Replayed:
    """Send again the organisation's events recorded from `since` until before `until`.

    Events the endpoint does not take are left out, and so are test events. `only_failed` leaves
    out those that arrived or are on their way; what was never sent counts as failed. At most
    MOST_EVENTS events are looked at, in order of position, from behind `after`. Raises Gone where
    some of the range are not kept any more.
    """
    endpoint = endpoint_for_change(caller, channel, endpoint_id)
    refuse_unless_on(endpoint)
    events = (
        events_of(caller)
        .filter(recorded_at__gte=since, recorded_at__lt=until, only_endpoint__isnull=True)
        .filter(position__gt=after)
    )
    if wanted := _wanted_types(endpoint, event_types):
        # Urgent ones came whatever types it takes, so they come again, unless types are named.
        urgent = Q() if event_types else Q(urgent=True)
        events = events.filter(Q(type__in=wanted) | urgent)
    found = list(
        events.order_by("position").only("number", "position", "subject_id")[: MOST_EVENTS + 1]
    )
    refuse_gone(caller, after=after or None, since=since)
    page = found[:MOST_EVENTS]
    count = _send_again(endpoint, page, only_failed=only_failed)
    if count:
        transaction.on_commit(wake_deliverer)
    cursor = max((event.position or 0 for event in page), default=after)
    return Replayed(count, cursor, more=len(found) > MOST_EVENTS)


def _wanted_types(endpoint: Endpoint, event_types: Sequence[str]) -> list[str]:
    """Return the types to send, empty for every one. Raises InvalidRequest for one not taken."""
    taken: list[str] = endpoint.event_types
    strange = [name for name in event_types if taken and name not in taken]
    if strange:
        message = f"This endpoint does not take {', '.join(strange)}."
        raise InvalidRequest(
            f"event_types: {message}",
            next_step="Add them to the endpoint's event_types first, or leave them out here.",
            errors=[{"field": "event_types", "message": message}],
        )
    return list(event_types) or taken


def _send_again(endpoint: Endpoint, events: Sequence[Event], *, only_failed: bool) -> int:
    """Reset or create the deliveries of these events; return how many are to be sent."""
    moment = now()
    numbers = [event.number for event in events]
    sent_before = dict(
        Delivery.objects.filter(endpoint=endpoint, event_id__in=numbers).values_list(
            "event_id", "state"
        )
    )
    passed_over = {Delivery.State.DELIVERED, Delivery.State.WAITING} if only_failed else set()
    again = [number for number, state in sent_before.items() if state not in passed_over]
    fresh = [
        Delivery(
            event=event,
            endpoint=endpoint,
            subject_id=event.subject_id,
            next_attempt_at=moment,
            created_at=moment,
        )
        for event in events
        if event.number not in sent_before
    ]
    # The fan-out may create one of them at this moment: it is sent either way.
    Delivery.objects.bulk_create(fresh, ignore_conflicts=True)
    return _reset(endpoint, again, moment) + len(fresh)


def _reset(endpoint: Endpoint, numbers: Iterable[int], moment: datetime) -> int:
    """Make deliveries due as on their first day, unless being sent just now; return how many."""
    free = Q(claimed_until__isnull=True) | Q(claimed_until__lte=moment)
    deliveries = Delivery.objects.filter(endpoint=endpoint, event_id__in=numbers)
    lock_in_order(deliveries)
    return deliveries.filter(free).update(
        state=Delivery.State.WAITING,
        tries=0,
        next_attempt_at=moment,
        claimed_until=None,
        finished_at=None,
    )
