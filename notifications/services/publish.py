"""Gives committed events their place in the feed and makes the deliveries they call for.

Numbers are drawn before a commit, so a reader going by number could pass an event whose
transaction began earlier and ends later. A position is given after the commit, under a lock, so
the feed grows at its end only. Two events about one subject keep their order, since whoever
changes a subject holds its row until the commit.
"""

from collections import defaultdict
from collections.abc import Callable, Iterable, Iterator, Sequence
from datetime import timedelta
from uuid import UUID

from django.conf import settings
from django.db import connection, transaction
from django.db.models import Max

from core.clock import now
from notifications.models import Delivery, Endpoint, Event
from notifications.selectors import events_wait_for_position

# Any number will do, as long as nothing else in this database locks the same one.
PUBLISH_LOCK = 7_305_218_846
BATCH = 500


def events_publish(*, limit: int = 1000) -> int:
    """Place up to `limit` committed events and create their deliveries; return how many.

    Safe from any number of processes at once. Where nothing waits, it is one look at an index.
    """
    if not events_wait_for_position():
        return 0
    with transaction.atomic():
        _lock()
        events = list(Event.objects.filter(position=None).order_by("number").defer("body")[:limit])
        last = Event.objects.aggregate(last=Max("position"))["last"] or 0
        for position, event in enumerate(events, start=last + 1):
            event.position = position
        Event.objects.bulk_update(events, ["position"], batch_size=BATCH)
        Delivery.objects.bulk_create(_deliveries(events), batch_size=BATCH, ignore_conflicts=True)
    return len(events)


def _lock() -> None:
    """Wait for our turn; released when the transaction ends.

    On PostgreSQL this must be a statement of its own: the next one then reads what the last
    holder committed. On SQLite the transaction began with BEGIN IMMEDIATE, which is the lock.
    """
    if connection.vendor == "postgresql":
        with connection.cursor() as cursor:
            cursor.execute("SELECT pg_advisory_xact_lock(%s)", [PUBLISH_LOCK])


def _deliveries(events: Sequence[Event]) -> Iterator[Delivery]:
    moment = now()
    first_attempt_at = moment + timedelta(seconds=settings.RETRY_SECONDS[0])
    choose = _chooser(events)
    for event in events:
        for endpoint_id in choose(event):
            yield Delivery(
                event=event,
                endpoint_id=endpoint_id,
                subject_id=event.subject_id,
                next_attempt_at=first_attempt_at,
                created_at=moment,
            )


def _chooser(events: Iterable[Event]) -> Callable[[Event], list[UUID]]:
    """Return a function that names the endpoints an event goes to."""
    owners = {owner for event in events for owner in (event.dealer_id, event.workshop_id)}
    on: defaultdict[UUID | None, list[tuple[UUID, list[str]]]] = defaultdict(list)
    for owner, endpoint_id, types in Endpoint.objects.filter(
        organisation__in=owners - {None}, state=Endpoint.State.ON, deleted_at=None
    ).values_list("organisation", "pk", "event_types"):
        on[owner].append((endpoint_id, types))

    def choose(event: Event) -> list[UUID]:
        concerned = [*on[event.dealer_id], *on[event.workshop_id]]
        if event.only_endpoint_id is not None:
            return [one for one, _ in concerned if one == event.only_endpoint_id]
        return [one for one, types in concerned if not types or event.type in types]

    return choose
