"""What notifications says of itself to /readyz and /metrics: how old the oldest due work is."""

from datetime import datetime

from django.conf import settings
from django.db.models import Count, Exists, Min, OuterRef, Q

from core.clock import now
from core.health import Reading, register_probe
from notifications.models import Delivery, Endpoint, Event

# What a healthy engine needs at most to take up due work, beyond the lease of a worker that
# died with it. Common practice, no source.
TAKEN_UP_WITHIN_SECONDS = 120


def register() -> None:
    """Hand the probe over to core."""
    register_probe("deliveries", probe_deliveries)


def probe_deliveries() -> Reading:
    """Say how old the oldest event not yet handed out and the oldest due delivery are."""
    moment = now()
    not_placed = Event.objects.filter(position=None).aggregate(oldest=Min("recorded_at"))["oldest"]
    deliveries = Delivery.objects.filter(state=Delivery.State.WAITING).aggregate(
        waiting=Count("pk"), oldest=Min("next_attempt_at", filter=neglected(moment))
    )
    event_age = age(not_placed, moment)
    delivery_age = age(deliveries["oldest"], moment)
    limit = settings.DELIVERY_LEASE_SECONDS + TAKEN_UP_WITHIN_SECONDS
    oldest = max(event_age, delivery_age)
    says = f"The oldest due notice waits for {oldest:.0f} s; {limit} s is the limit."
    if oldest > limit:
        says += " No worker takes it up: look at beat, the broker and the workers."
    return Reading(
        good=oldest <= limit,
        says=says,
        figures={
            "deliveries_waiting": float(deliveries["waiting"]),
            "oldest_due_delivery_seconds": delivery_age,
            "oldest_event_not_handed_out_seconds": event_age,
        },
    )


def age(moment: datetime | None, present: datetime) -> float:
    """Return the seconds from a moment to the present; 0 where there is none."""
    return max((present - moment).total_seconds(), 0.0) if moment else 0.0


def neglected(moment: datetime) -> Q:
    """Match deliveries that a healthy engine would have taken up by now.

    Not those of an endpoint that is off, failing or slowed down, nor those behind an earlier
    notice about the same subject, nor those in the queue of an endpoint that is being served at
    this moment: one dealer's broken or slow system must not make the whole service look broken.
    """
    healthy = Q(
        endpoint__state=Endpoint.State.ON,
        endpoint__deleted_at=None,
        endpoint__failing_since=None,
    )
    not_slowed = Q(endpoint__slowed_until=None) | Q(endpoint__slowed_until__lte=moment)
    same_endpoint = Delivery.objects.filter(
        endpoint=OuterRef("endpoint"), state=Delivery.State.WAITING
    )
    being_served = same_endpoint.filter(claimed_until__gt=moment)
    earlier = same_endpoint.filter(subject_id=OuterRef("subject_id"), event__lt=OuterRef("event"))
    return (
        Q(next_attempt_at__lte=moment)
        & healthy
        & not_slowed
        & ~Exists(being_served)
        & ~Exists(earlier)
    )
