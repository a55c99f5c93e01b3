"""Claims due deliveries for one run: fair between endpoints, in order for each subject.

Order: a delivery waits while an earlier event's delivery for the same endpoint and subject waits
too, until that one has failed ORDER_KEPT_TRIES times; then later ones go past it. Cost: however
long an endpoint's backlog is, a claim looks at its first LOOK_AHEAD rows only, by index.
"""

import random
from collections import Counter
from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Any, cast
from uuid import UUID

from django.conf import settings
from django.db import connection, transaction
from django.db.models import Q, QuerySet
from django.db.models.expressions import RawSQL

from core.clock import now
from notifications.engine.places import Queue, Room, share
from notifications.models import Delivery, Endpoint
from notifications.notice import Notice

ORDER_KEPT_TRIES = 3
# How far into an endpoint's backlog one claim looks: a few more than it may take, since some
# wait for earlier ones.
LOOK_AHEAD = 16
LEAST_LOOK_AHEAD = 4

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


# What handing over needs of an event; its dealer decides who may read its letter.
_OF_EVENT = (
    *("event__id", "event__type", "event__body", "event__letter", "event__dealer", "event__trace"),
)

# A delivery, its endpoint, when it is due, and when the one is due that it waits for.
Head = tuple[UUID, UUID, datetime, datetime | None]

# The first that may be claimed of one endpoint, each with the time of the earlier one about the
# same subject that it must not pass.
_HEADS = f"""
SELECT d.id, d.endpoint_id, d.next_attempt_at,
       (SELECT MAX(e.next_attempt_at) FROM notifications_delivery e
         WHERE e.endpoint_id = d.endpoint_id AND e.subject_id = d.subject_id
           AND e.state = 'waiting' AND e.event_id < d.event_id
           AND e.tries < {ORDER_KEPT_TRIES})
  FROM notifications_delivery d
 WHERE d.endpoint_id = {{}} AND d.state = 'waiting' AND d.next_attempt_at <= %s
   AND (d.claimed_until IS NULL OR d.claimed_until <= %s)
 ORDER BY d.next_attempt_at, d.event_id LIMIT %s
"""  # noqa: S608  constants of ours
_ALL_HEADS = f"""
SELECT head.* FROM unnest(%s::uuid[]) AS place (id)
 CROSS JOIN LATERAL ({_HEADS.format("place.id")}) AS head
"""  # noqa: S608  constants of ours


@dataclass(frozen=True, slots=True)
class Claimed:
    """A delivery that is ours until `lease`, with all that handing it over needs."""

    delivery_id: UUID
    tries: int
    notice: Notice
    endpoint: Endpoint
    lease: datetime
    due_at: datetime
    trace: str
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
        rows = list(
            _free(at)
            .filter(pk__in=chosen)
            .select_for_update(skip_locked=True, no_key=True, of=("self",))
            .values_list("pk", "tries", "endpoint", "next_attempt_at", *_OF_EVENT)
        )
        Delivery.objects.filter(pk__in=[row[0] for row in rows]).update(claimed_until=lease)
    claimed = [_claimed(row, endpoints[row[2]], lease, at) for row in rows]
    return Claim(claimed, len(endpoints) < len(wanted) or len(claimed) < len(chosen))


def give_back(left: Sequence[Claimed]) -> None:
    """Let go of deliveries that were claimed and not handed over, as far as they are still ours."""
    for item in left:
        held = Delivery.objects.filter(pk=item.delivery_id, claimed_until=item.lease)
        held.update(claimed_until=None)


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
    return sorted(due, key=lambda endpoint_id: (taken[endpoint_id], random.random()))[:most]  # noqa: S311  no secret


def _lock_endpoints(ids: Sequence[UUID]) -> dict[UUID, Endpoint]:
    on = Endpoint.objects.filter(pk__in=ids, state=Endpoint.State.ON, deleted_at=None)
    return {
        endpoint.pk: endpoint for endpoint in on.select_for_update(skip_locked=True, no_key=True)
    }


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
    """Return whether the endpoint gets one place only: it asked for less, or failed last.

    A dead receiver that lets every attempt run into its time-out would hold all its places, and
    one that has just come back is not met by its whole backlog at once.
    """
    return _slowed(endpoint, at) or endpoint.failing_since is not None


def _claimed(row: Sequence[Any], endpoint: Endpoint, lease: datetime, at: datetime) -> Claimed:
    delivery_id, tries, _, due_at, event_id, kind, body, letter, dealer_id, trace = row
    # Letters are for the dealer's mailboxes alone.
    by_mail = endpoint.channel == Endpoint.Channel.EMAIL
    may_read = by_mail and endpoint.organisation_id == dealer_id
    return Claimed(
        delivery_id,
        tries,
        Notice(event_id, kind, body, letter if may_read else ""),
        endpoint,
        lease,
        due_at,
        trace,
        frail=_frail(endpoint, at),
        slowed=_slowed(endpoint, at),
    )


def _fill(queues: dict[UUID, Queue[UUID]], places: int, at: datetime) -> dict[UUID, datetime]:
    """Put what may go into its queue; return what must go behind an earlier one, and when.

    Moving those makes room at the head of the backlog: none is looked at again before the one
    it waits for, however many there are.
    """
    behind = {}
    look_ahead = min(LOOK_AHEAD, LEAST_LOOK_AHEAD + places // max(len(queues), 1))
    for pk, endpoint_id, next_attempt_at, waits_for in heads_of(list(queues), look_ahead, at):
        if waits_for is None:
            queues[endpoint_id].due.append(pk)
        elif waits_for > next_attempt_at:
            behind[pk] = waits_for
    return behind


def heads_of(endpoint_ids: Sequence[UUID], look_ahead: int, at: datetime) -> list[Head]:
    """Return the first due deliveries of each endpoint, with the time of what each waits for."""
    moment = connection.ops.adapt_datetimefield_value(at)
    with connection.cursor() as cursor:
        if connection.vendor == "postgresql":  # one look into the index for each endpoint
            cursor.execute(_ALL_HEADS, [list(endpoint_ids), moment, moment, look_ahead])
            return cast("list[Head]", cursor.fetchall())
        found: list[Head] = []
        for endpoint_id in endpoint_ids:  # in the same process: a query costs next to nothing
            cursor.execute(_HEADS.format("%s"), [endpoint_id.hex, moment, moment, look_ahead])
            found += [
                (UUID(pk), endpoint_id, _instant(due), _instant(waits_for) if waits_for else None)
                for pk, _, due, waits_for in cursor.fetchall()
            ]
        return found


def _instant(found: datetime | str) -> datetime:
    """Return an instant of SQLite's in UTC: a column is read already, a computed value is not."""
    instant = found if isinstance(found, datetime) else datetime.fromisoformat(found)
    return instant.replace(tzinfo=UTC)


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
    return Delivery.objects.filter(
        Q(claimed_until=None) | Q(claimed_until__lte=at), state=RawSQL("'waiting'", ())
    )
