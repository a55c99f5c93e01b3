"""Claims due deliveries for one run: fair between endpoints, in order for each subject.

Order: a delivery waits while an earlier event's delivery for the same endpoint and subject waits
too, until that one has failed ORDER_KEPT_TRIES times; then later ones go past it. Cost: however
long an endpoint's backlog is, a claim looks at its first LOOK_AHEAD rows only, by index.
"""

import random
from collections import Counter
from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from uuid import UUID

from django.conf import settings
from django.contrib.postgres.expressions import ArraySubquery
from django.db import connection, transaction
from django.db.models import Max, OuterRef, Q, QuerySet, Subquery
from django.db.models.expressions import RawSQL

from core.clock import now
from notifications.engine.places import Queue, Room, share
from notifications.models import Delivery, Endpoint

ORDER_KEPT_TRIES = 3
# How far into an endpoint's backlog one claim looks: a few more than it may take, since some
# wait for earlier ones.
LOOK_AHEAD = 16
LEAST_LOOK_AHEAD = 4
# Written out, not bound: SQLite uses an index on `state = 'waiting'` only where it can read so.
WAITING = RawSQL("'waiting'", ())

# Walks the index from endpoint to endpoint, so its cost is in endpoints, not in rows.
_DUE_ENDPOINTS = """
WITH RECURSIVE waiting(endpoint_id) AS (
    SELECT (SELECT endpoint_id FROM notifications_delivery
             WHERE state = 'waiting' ORDER BY endpoint_id LIMIT 1)
    UNION ALL
    SELECT (SELECT d.endpoint_id FROM notifications_delivery d
             WHERE d.state = 'waiting' AND d.endpoint_id > waiting.endpoint_id
             ORDER BY d.endpoint_id LIMIT 1)
      FROM waiting WHERE waiting.endpoint_id IS NOT NULL
)
SELECT e.id FROM waiting JOIN notifications_endpoint e ON e.id = waiting.endpoint_id
 WHERE e.state = 'on' AND e.deleted_at IS NULL
   AND (SELECT d.next_attempt_at FROM notifications_delivery d
         WHERE d.state = 'waiting' AND d.endpoint_id = waiting.endpoint_id
           AND (d.claimed_until IS NULL OR d.claimed_until <= %s)
         ORDER BY d.next_attempt_at LIMIT 1) <= %s
"""


@dataclass(frozen=True, slots=True)
class Claimed:
    """A delivery that is ours until `lease`, with all that handing it over needs."""

    delivery: Delivery  # with its event
    endpoint: Endpoint
    lease: datetime
    frail: bool
    slowed: bool


@dataclass(frozen=True, slots=True)
class Claim:
    """What one claim brought; `look_again`: somebody was in the way, so more may be due."""

    claimed: Sequence[Claimed] = ()
    look_again: bool = False


def due_endpoints(at: datetime) -> list[UUID]:
    """Return the ids of the endpoints that are on and to which something unclaimed is due."""
    moment = connection.ops.adapt_datetimefield_value(at)
    with connection.cursor() as cursor:
        cursor.execute(_DUE_ENDPOINTS, [moment, moment])
        # SQLite keeps a UUID as text.
        return [UUID(str(endpoint_id)) for (endpoint_id,) in cursor.fetchall()]


def claim(*, room: Room, resting: Collection[UUID] = ()) -> Claim:
    """Claim due deliveries for the places in `room`, leaving out the endpoints in `resting`.

    What every worker has in flight is counted, under a lock on the endpoint's row on PostgreSQL,
    so an endpoint's cap holds across all of them. A row that somebody else holds is passed over.
    """
    at = now()
    if room.free <= 0 or not (due := set(due_endpoints(at)) - set(resting)):
        return Claim()
    wanted = _idlest(due, at, room.free)
    lease = at + timedelta(seconds=settings.DELIVERY_LEASE_SECONDS)
    with transaction.atomic():
        endpoints = _lock_endpoints(wanted)
        queues = _queues(endpoints.values(), at)
        _move_behind(_fill(queues, room.free, at), at)
        chosen = share(queues.values(), room)
        deliveries = list(
            _free(at)
            .filter(pk__in=chosen)
            .select_for_update(skip_locked=True, no_key=True, of=("self",))
            .select_related("event")
        )
        Delivery.objects.filter(pk__in=[one.pk for one in deliveries]).update(claimed_until=lease)
    return Claim(
        claimed=[_claimed(one, endpoints[one.endpoint_id], lease, at) for one in deliveries],
        look_again=len(endpoints) < len(wanted) or len(deliveries) < len(chosen),
    )


def in_flight(at: datetime) -> Counter[UUID]:
    """Count what all workers have in flight to each endpoint."""
    # Counted here, not by GROUP BY: for that SQLite would read the whole table in order.
    claimed = Delivery.objects.filter(claimed_until__isnull=False, claimed_until__gt=at)
    return Counter(claimed.values_list("endpoint_id", flat=True))


def _idlest(due: Collection[UUID], at: datetime, most: int) -> list[UUID]:
    """Return the endpoints to look at: those with least in flight, at random among equals.

    At random, since any fixed order would let the same ones win each time there are too many.
    """
    if len(due) <= most:
        return list(due)
    taken = in_flight(at)
    return sorted(due, key=lambda one: (taken[one], random.random()))[:most]  # noqa: S311  no secret


def _lock_endpoints(ids: Sequence[UUID]) -> dict[UUID, Endpoint]:
    on = Endpoint.objects.filter(pk__in=ids, state=Endpoint.State.ON, deleted_at=None)
    return {one.pk: one for one in on.select_for_update(skip_locked=True, no_key=True)}


def _queues(endpoints: Iterable[Endpoint], at: datetime) -> dict[UUID, Queue[UUID]]:
    taken = in_flight(at)
    queues = {}
    for endpoint in endpoints:
        frail = _frail(endpoint, at)
        most = 1 if frail else settings.ENDPOINT_CONCURRENCY
        queues[endpoint.pk] = Queue[UUID](endpoint.pk, taken[endpoint.pk], most, frail)
    return queues


def _slowed(endpoint: Endpoint, at: datetime) -> bool:
    return endpoint.slowed_until is not None and endpoint.slowed_until > at


def _frail(endpoint: Endpoint, at: datetime) -> bool:
    """Say whether the endpoint gets one place only: it asked for less, or its last notice failed.

    A dead receiver that lets every attempt run into its time-out would hold all its places, and
    one that has just come back is not met by its whole backlog at once.
    """
    return _slowed(endpoint, at) or endpoint.failing_since is not None


def _claimed(delivery: Delivery, endpoint: Endpoint, lease: datetime, at: datetime) -> Claimed:
    return Claimed(
        delivery, endpoint, lease, frail=_frail(endpoint, at), slowed=_slowed(endpoint, at)
    )


def _fill(queues: dict[UUID, Queue[UUID]], places: int, at: datetime) -> dict[UUID, datetime]:
    """Put what may go into its queue; return what must go behind an earlier one, and when.

    Moving those makes room at the head of the backlog: none is looked at again before the one
    it waits for, however many there are.
    """
    behind = {}
    look_ahead = min(LOOK_AHEAD, LEAST_LOOK_AHEAD + 2 * places // max(len(queues), 1))
    for pk, endpoint_id, next_attempt_at, waits_for in _heads(list(queues), look_ahead, at):
        if waits_for is None:
            queues[endpoint_id].due.append(pk)
        elif waits_for > next_attempt_at:
            behind[pk] = waits_for
    return behind


def _heads(
    endpoint_ids: Sequence[UUID], look_ahead: int, at: datetime
) -> Iterable[tuple[UUID, UUID, datetime, datetime | None]]:
    """Return the first due deliveries of each endpoint, with the time of what each waits for."""
    due = _free(at).filter(next_attempt_at__lte=at).order_by("next_attempt_at", "event_id")
    if connection.vendor == "postgresql":  # one query, by a lateral look into the index for each
        first = due.filter(endpoint=OuterRef("pk")).values("pk")[:look_ahead]
        found = Endpoint.objects.filter(pk__in=endpoint_ids).values_list(ArraySubquery(first))
        ids = [pk for (heads,) in found for pk in heads]
    else:  # in the same process: a query costs next to nothing
        ids = [
            pk
            for endpoint_id in endpoint_ids
            for pk in due.filter(endpoint=endpoint_id).values_list("pk", flat=True)[:look_ahead]
        ]
    earlier = Delivery.objects.filter(
        endpoint=OuterRef("endpoint"),
        subject_id=OuterRef("subject_id"),
        state=WAITING,
        event__lt=OuterRef("event"),
        tries__lt=ORDER_KEPT_TRIES,
    ).order_by()
    latest = earlier.values("endpoint").annotate(latest=Max("next_attempt_at")).values("latest")
    return (
        Delivery.objects.filter(pk__in=ids)
        .order_by("next_attempt_at", "event_id")
        .values_list("pk", "endpoint", "next_attempt_at", Subquery(latest))
    )


def _move_behind(behind: dict[UUID, datetime], at: datetime) -> None:
    """Make each due when what it waits for is, save those that somebody else is changing."""
    if not behind:
        return
    free = _free(at).filter(pk__in=behind).select_for_update(skip_locked=True, no_key=True)
    moved = list(free.only("pk"))
    for delivery in moved:
        delivery.next_attempt_at = behind[delivery.pk]
    Delivery.objects.bulk_update(moved, ["next_attempt_at"])


def _free(at: datetime) -> QuerySet[Delivery]:
    """Return what waits and is nobody's; a lease that ran out (a worker was killed) is nobody's."""
    return Delivery.objects.filter(Q(claimed_until=None) | Q(claimed_until__lte=at), state=WAITING)
