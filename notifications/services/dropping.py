"""Drops what is older than its term: notices with their deliveries, and attempts.

Each call is one short transaction over a few hundred rows; whoever calls goes on from where it
came. A feed's start moves in the transaction that drops its events, so that nobody can miss one
without being told.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from uuid import UUID

from django.db import transaction
from django.db.models import Exists, OuterRef, QuerySet

from notifications.models import Attempt, Delivery, Endpoint, Event, FeedStart

Lost = dict[UUID, tuple[int, datetime]]  # by organisation: its highest position, its newest


@dataclass(frozen=True, slots=True)
class Dropped:
    """What one call dropped, from when, and where the next goes on; empty: nothing is left."""

    place: str = ""
    rows: int = 0
    oldest: datetime | None = None
    newest: datetime | None = None


@transaction.atomic
def events_drop(*, before: datetime, place: str = "", limit: int = 500) -> Dropped:
    """Drop events recorded before an instant, oldest first, with their deliveries.

    One that is not placed yet, or that somebody still waits for, stays.
    """
    found = list(
        Event.objects.filter(number__gt=int(place or 0))
        .order_by("number")
        .only("number", "position", "recorded_at", "dealer_id", "workshop_id")
        .annotate(waits=Exists(_waiting()))[:limit]
    )
    old = [event for event in found if event.recorded_at < before]
    gone = [event for event in old if event.position is not None and not event.waits]
    numbers = [event.number for event in gone]
    _feeds_start_later(gone)
    rows = Attempt.objects.filter(delivery__event__in=numbers).delete()[0]
    rows += Delivery.objects.filter(event__in=numbers).delete()[0]
    rows += Event.objects.filter(number__in=numbers).delete()[0]
    # Numbers rise with time but for seconds: what is newer has nothing old behind it.
    more = len(found) == limit and bool(old)
    times = [event.recorded_at for event in gone]
    return Dropped(
        str(found[-1].number) if more else "",
        rows,
        min(times, default=None),
        max(times, default=None),
    )


@transaction.atomic
def attempts_drop(*, before: datetime, place: str = "", limit: int = 1000) -> Dropped:
    """Drop attempts made before an instant, oldest first; their delivery keeps how it ended."""
    later = Attempt.objects.filter(pk__gt=UUID(place)) if place else Attempt.objects.all()
    found = list(later.order_by("pk").values_list("pk", "started_at")[:limit])
    old = [(pk, at) for pk, at in found if at < before]
    rows = Attempt.objects.filter(pk__in=[pk for pk, _ in old]).delete()[0]
    times = [at for _, at in old]
    more = len(found) == limit and bool(old)
    return Dropped(
        str(found[-1][0]) if more else "", rows, min(times, default=None), max(times, default=None)
    )


def contacts_drop(*, before: datetime) -> int:
    """Drop the addresses of orders' contacts to which nothing is kept any more; return how many."""
    unused = Endpoint.objects.filter(direct=True, created_at__lt=before)
    return unused.filter(~Exists(Delivery.objects.filter(endpoint=OuterRef("pk")))).delete()[0]


def _waiting() -> QuerySet[Delivery]:
    waiting = Delivery.objects.filter(state=Delivery.State.WAITING)
    return waiting.filter(event=OuterRef("number"))


def _feeds_start_later(gone: Sequence[Event]) -> None:
    """Keep for each organisation up to where its feed is gone; a test notice is in none."""
    lost: Lost = {}
    for event in gone:
        for organisation_id in (event.dealer_id, event.workshop_id):
            if organisation_id is not None and event.position is not None:
                position, newest = lost.get(organisation_id, (0, event.recorded_at))
                lost[organisation_id] = (
                    max(position, event.position),
                    max(newest, event.recorded_at),
                )
    kept = {
        row.organisation_id: row
        for row in FeedStart.objects.select_for_update(no_key=True)
        .filter(organisation__in=lost)
        .order_by("organisation")
    }
    FeedStart.objects.bulk_create(
        [
            _later(kept.get(organisation_id), organisation_id, position, newest)
            for organisation_id, (position, newest) in sorted(lost.items())
        ],
        update_conflicts=True,
        unique_fields=["organisation"],
        update_fields=["position", "recorded_until"],
    )


def _later(
    kept: FeedStart | None, organisation_id: UUID, position: int, newest: datetime
) -> FeedStart:
    if kept is not None:
        position, newest = max(position, kept.position), max(newest, kept.recorded_until)
    return FeedStart(organisation_id=organisation_id, position=position, recorded_until=newest)
