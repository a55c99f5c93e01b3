"""Gives committed events their place in the feed and makes the deliveries they call for.

Numbers are drawn before a commit, so a reader going by number could pass an event whose
transaction began earlier and ends later. A position is given after the commit, under a lock, so
the feed grows at its end only. Two events about one subject keep their order, since whoever
changes a subject holds its row until the commit.
"""

from collections import defaultdict
from collections.abc import Callable, Iterable, Iterator, Sequence
from datetime import timedelta
from typing import NamedTuple
from uuid import UUID

from django.conf import settings
from django.db import connection, transaction

from core.clock import now
from core.ids import new_id
from notifications.models import Delivery, Endpoint, Event
from notifications.selectors import events_wait_for_position
from notifications.services.rows import Row, rows_insert

# Any number will do, as long as nothing else in this database locks the same one.
PUBLISH_LOCK = 7_305_218_846
WAITING = Delivery.State.WAITING.value
DELIVERY_COLUMNS = (
    "id", "event", "endpoint", "subject_id", "state", "tries", "next_attempt_at", "last_error",
    "created_at",
)  # fmt: skip
# One statement for all: Django would write a CASE with a branch for each event.
_PLACE = """
UPDATE notifications_event SET position = fresh.place
  FROM (SELECT number, (SELECT COALESCE(MAX(position), 0) FROM notifications_event)
                       + ROW_NUMBER() OVER (ORDER BY number) AS place
          FROM notifications_event WHERE number IN ({})) AS fresh
 WHERE notifications_event.number = fresh.number
"""


class Fresh(NamedTuple):
    """What publishing needs of an event that was just committed."""

    number: int
    type: str
    dealer_id: UUID | None
    workshop_id: UUID | None
    subject_id: UUID
    only_endpoint_id: UUID | None


def events_publish(*, limit: int = 1000) -> int:
    """Place up to `limit` committed events and create their deliveries; return how many.

    Safe from any number of processes at once. Where nothing waits, it is one look at an index.
    """
    if not events_wait_for_position():
        return 0
    with transaction.atomic():
        _lock()
        waiting = Event.objects.filter(position=None).order_by("number")
        events = [Fresh(*row) for row in waiting.values_list(*Fresh._fields)[:limit]]
        _place([event.number for event in events])
        rows_insert(Delivery, DELIVERY_COLUMNS, list(_deliveries(events)), skip_present=True)
    return len(events)


def _place(numbers: Sequence[int]) -> None:
    """Give the events positions after the last one, in the order of their numbers."""
    if numbers:
        with connection.cursor() as cursor:
            cursor.execute(_PLACE.format(", ".join(["%s"] * len(numbers))), numbers)


def _lock() -> None:
    """Wait for our turn; released when the transaction ends.

    On PostgreSQL this must be a statement of its own: the next one then reads what the last
    holder committed. On SQLite the transaction began with BEGIN IMMEDIATE, which is the lock.
    """
    if connection.vendor == "postgresql":
        with connection.cursor() as cursor:
            cursor.execute("SELECT pg_advisory_xact_lock(%s)", [PUBLISH_LOCK])


def _deliveries(events: Sequence[Fresh]) -> Iterator[Row]:
    moment = now()
    first_attempt_at = moment + timedelta(seconds=settings.RETRY_SECONDS[0])
    choose = _chooser(events)
    for event in events:
        for endpoint_id in choose(event):
            yield (
                new_id(), event.number, endpoint_id, event.subject_id, WAITING, 0,
                first_attempt_at, "", moment,
            )  # fmt: skip


def _chooser(events: Iterable[Fresh]) -> Callable[[Fresh], list[UUID]]:
    """Return a function that names the endpoints an event goes to."""
    owners = {owner for event in events for owner in (event.dealer_id, event.workshop_id)}
    on: defaultdict[UUID | None, list[tuple[UUID, list[str]]]] = defaultdict(list)
    endpoints = Endpoint.objects.filter(
        organisation__in=owners - {None}, state=Endpoint.State.ON, deleted_at=None
    )
    # Locked, so that whoever switches one off waits and then stops what was made for it here.
    locked = endpoints.select_for_update(no_key=True).order_by("pk")
    for owner, endpoint_id, types in locked.values_list("organisation", "pk", "event_types"):
        on[owner].append((endpoint_id, types))

    def choose(event: Fresh) -> list[UUID]:
        concerned = [*on[event.dealer_id], *on[event.workshop_id]]
        if event.only_endpoint_id is not None:
            return [one for one, _ in concerned if one == event.only_endpoint_id]
        return [one for one, types in concerned if not types or event.type in types]

    return choose
