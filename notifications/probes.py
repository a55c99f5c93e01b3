"""What notifications says of itself to /readyz and /metrics: how old the oldest due work is."""

from datetime import datetime

from django.conf import settings
from django.db.models import Count, Q

from core.clock import now
from core.health import Reading, register_probe
from notifications.engine.claim import LOOK_AHEAD, due_endpoints, heads_of, in_flight
from notifications.models import Delivery, Endpoint, Event

# What a healthy engine needs at most to take up due work, beyond the lease of a worker that
# died with it. Common practice, no source.
TAKEN_UP_WITHIN_SECONDS = 120
MOST_COUNTED = 10_000  # of those that wait; more are not counted
# Of how many organisations, and how many of all endpoints: then it is not their receivers.
SEVERAL, NEARLY_ALL = 3, 0.8


def register() -> None:
    """Hand the probe over to core."""
    register_probe("deliveries", probe_deliveries)
    register_probe("endpoints", probe_endpoints)


def probe_deliveries() -> Reading:
    """Say how old the oldest event not yet handed out and the oldest due delivery are.

    What it costs grows with the endpoints, never with what waits for them.
    """
    moment = now()
    first = Event.objects.filter(position=None).order_by("number").values_list("recorded_at")
    event_age = age(next((recorded for (recorded,) in first[:1]), None), moment)
    delivery_age = age(oldest_neglected(moment), moment)
    limit = settings.DELIVERY_LEASE_SECONDS + TAKEN_UP_WITHIN_SECONDS
    oldest = max(event_age, delivery_age)
    says = f"The oldest due notice waits for {oldest:.0f} s; {limit} s is the limit."
    if oldest > limit:
        says += " No worker takes it up: look at beat, the broker and the workers."
    waiting = Delivery.objects.filter(state=Delivery.State.WAITING).order_by()
    return Reading(
        good=oldest <= limit,
        says=says,
        figures={
            "deliveries_waiting": float(waiting[:MOST_COUNTED].count()),
            "oldest_due_delivery_seconds": delivery_age,
            "oldest_event_not_handed_out_seconds": event_age,
        },
    )


def probe_endpoints() -> Reading:
    """Say how many endpoints fail. One dealer's is that dealer's; nearly all of them are ours."""
    found = Endpoint.objects.filter(state=Endpoint.State.ON, deleted_at=None).aggregate(
        on=Count("pk"),
        failing=Count("pk", filter=Q(failing_since__isnull=False)),
        organisations=Count("organisation", filter=Q(failing_since__isnull=False), distinct=True),
    )
    share = found["failing"] / found["on"] if found["on"] else 0.0
    ours = share >= NEARLY_ALL and found["organisations"] >= SEVERAL
    says = f"{found['failing']} of {found['on']} endpoints fail."
    if ours:
        says += " They are of several organisations: look at this service's way out and its keys."
    return Reading(good=not ours, says=says, figures={"endpoints_failing_share": share})


def age(moment: datetime | None, present: datetime) -> float:
    """Return the seconds from a moment to the present; 0 where there is none."""
    return max((present - moment).total_seconds(), 0.0) if moment else 0.0


def oldest_neglected(moment: datetime) -> datetime | None:
    """Return when the first was due of those that a healthy engine would have taken up by now.

    Not those of an endpoint that is off, failing or slowed down, nor those behind an earlier
    notice about the same subject, nor those in the queue of an endpoint that is being served at
    this moment: one dealer's broken or slow system must not make the whole service look broken.
    """
    served = in_flight(moment)
    not_slowed = Q(slowed_until=None) | Q(slowed_until__lte=moment)
    healthy = Endpoint.objects.filter(not_slowed, failing_since=None)
    left = healthy.filter(pk__in=due_endpoints(moment)).values_list("pk", flat=True)
    heads = heads_of([pk for pk in left if pk not in served], LOOK_AHEAD, moment)
    return min((due_at for _, _, due_at, waits_for in heads if waits_for is None), default=None)
