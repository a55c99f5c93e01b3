"""Gives committed events their place in the feed and makes the deliveries they call for.

Numbers are drawn before a commit, so a reader going by number could pass an event whose
transaction began earlier and ends later. A position is given after the commit, under a lock, so
the feed grows at its end only. Two events about one subject keep their order, since whoever
changes a subject holds its row until the commit.
"""

from collections.abc import Iterator, Sequence
from datetime import timedelta

from django.conf import settings
from django.db import connection, transaction

from core.clock import now
from core.ids import new_id
from notifications.models import Delivery, Event, FeedEnd
from notifications.selectors import events_wait_for_position
from notifications.selectors.feed import feed_end
from notifications.services.addressees import Addressees, Fresh
from notifications.services.rows import Row, rows_insert

# Any number will do, as long as nothing else in this database locks the same one.
PUBLISH_LOCK = 7_305_218_846
WAITING = Delivery.State.WAITING.value
DELIVERY_COLUMNS = (
    "id", "event", "endpoint", "subject_id", "state", "tries", "next_attempt_at", "last_error",
    "created_at",
)  # fmt: skip
# One statement for all: Django would write a CASE with a branch for each event. The greater of the
# two ends: a release that knew no stored one may still be placing events.
_PLACE = """
UPDATE notifications_event SET position = fresh.place
  FROM (SELECT number,
               (SELECT MAX(place) FROM (SELECT MAX(position) AS place FROM notifications_event
                                        UNION ALL SELECT position FROM notifications_feedend
                                        UNION ALL SELECT 0) AS ends)
               + ROW_NUMBER() OVER (ORDER BY number) AS place
          FROM notifications_event WHERE number IN ({})) AS fresh
 WHERE notifications_event.number = fresh.number
"""
_KEEP_END = """
INSERT INTO notifications_feedend (id, position)
SELECT 1, MAX(position) FROM notifications_event WHERE position IS NOT NULL
    ON CONFLICT (id) DO UPDATE SET position = excluded.position
"""


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


def feed_restored() -> None:
    """Note where the feed ends in a database that was just restored."""
    end = feed_end()
    FeedEnd.objects.update_or_create(id=1, defaults={"position": end, "at_restore": end})


def _place(numbers: Sequence[int]) -> None:
    """Give the events the next positions of the feed, in the order of their numbers."""
    if numbers:
        with connection.cursor() as cursor:
            cursor.execute(_PLACE.format(", ".join(["%s"] * len(numbers))), numbers)
            cursor.execute(_KEEP_END)


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
    addressees = Addressees(events)
    for event in events:
        for endpoint_id in addressees.of(event):
            yield (
                new_id(), event.number, endpoint_id, event.subject_id, WAITING, 0,
                first_attempt_at, "", moment,
            )  # fmt: skip
