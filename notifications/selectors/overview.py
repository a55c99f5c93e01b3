"""How a caller's endpoints do, and how far a replay has come: counted, a few queries for all."""

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any
from uuid import UUID

from django.db.models import Count, Max, Min, OuterRef, Q, QuerySet, Subquery

from accounts.caller import Caller
from core.clock import now
from notifications.models import Delivery, Endpoint

LOOKED_BACK = timedelta(days=30)
COUNTED_BACK = timedelta(days=7)
State = Delivery.State
_MILLISECONDS_AT_BIT = 80  # UUIDv7, RFC 9562 5.7: the time stands in the first 48 bits of 128


@dataclass(frozen=True, slots=True)
class Doing:
    """How one endpoint does; failed and stopped are of the last 7 days, arrived of the last 30."""

    last_arrived_at: datetime | None = None
    waiting: int = 0
    next_attempt_at: datetime | None = None
    failed: int = 0
    stopped: int = 0
    last_status: int | None = None
    last_error: str = ""


@dataclass(frozen=True, slots=True)
class Progress:
    """What became so far of the deliveries that a replay set on their way."""

    arrived: int
    waiting: int
    failed: int
    stopped: int

    @property
    def total(self) -> int:
        """Return how many there are."""
        return self.arrived + self.waiting + self.failed + self.stopped

    @property
    def ended(self) -> int:
        """Return how many wait for nothing any more."""
        return self.total - self.waiting


def every_endpoint_of(caller: Caller) -> list[Endpoint]:
    """Return the endpoints of every channel that the caller's side registered, newest first."""
    endpoints = Endpoint.objects.filter(
        organisation_id=caller.organisation_id, direct=False, deleted_at__isnull=True
    )
    return list(endpoints.order_by("-pk"))


def doing_of(endpoints: Sequence[Endpoint]) -> dict[UUID, Doing]:
    """Return how each of the endpoints does: three queries however many there are."""
    ids = [endpoint.pk for endpoint in endpoints]
    waiting = _by_endpoint(
        Delivery.objects.filter(endpoint__in=ids, state=State.WAITING),
        count=Count("pk"),
        next=Min("next_attempt_at"),
    )
    since = now() - COUNTED_BACK
    ended = _by_endpoint(
        Delivery.objects.filter(endpoint__in=ids, pk__gte=_first_id_at(now() - LOOKED_BACK)),
        arrived=Max("finished_at", filter=Q(state=State.DELIVERED)),
        failed=Count("pk", filter=Q(state=State.FAILED, finished_at__gte=since)),
        stopped=Count("pk", filter=Q(state=State.STOPPED, finished_at__gte=since)),
    )
    trouble = _last_trouble([endpoint.pk for endpoint in endpoints if endpoint.failing_since])
    return {
        endpoint_id: Doing(
            last_arrived_at=ended.get(endpoint_id, {}).get("arrived"),
            waiting=waiting.get(endpoint_id, {}).get("count", 0),
            next_attempt_at=waiting.get(endpoint_id, {}).get("next"),
            failed=ended.get(endpoint_id, {}).get("failed", 0),
            stopped=ended.get(endpoint_id, {}).get("stopped", 0),
            last_status=trouble.get(endpoint_id, (None, ""))[0],
            last_error=trouble.get(endpoint_id, (None, ""))[1],
        )
        for endpoint_id in ids
    }


def deliveries_shown(
    endpoint: Endpoint, *, state: str = "", event_type: str = "", before: UUID | None = None
) -> QuerySet[Delivery]:
    """Return the deliveries to an endpoint with their notices, newest first.

    `state` and `event_type` narrow them where given; `before` goes on behind that delivery.
    """
    deliveries = Delivery.objects.filter(endpoint=endpoint).select_related("event")
    if state:
        deliveries = deliveries.filter(state=state)
    if event_type:
        deliveries = deliveries.filter(event__type=event_type)
    if before:
        deliveries = deliveries.filter(pk__lt=before)
    return deliveries.defer("event__letter").order_by("-pk")


def replay_progress(
    endpoint: Endpoint,
    *,
    since: datetime,
    until: datetime,
    event_types: Collection[str],
    upto: int,
    started_at: datetime,
) -> Progress:
    """Count what became of a replay begun at `started_at` that has come to position `upto`.

    What waits, or ended after it began, was set on its way by it, or would have been.
    """
    ended = Q(finished_at__gte=started_at)
    deliveries = Delivery.objects.filter(
        Q(state=State.WAITING) | ended,
        endpoint=endpoint,
        event__recorded_at__gte=since,
        event__recorded_at__lt=until,
        event__position__lte=upto,
        event__only_endpoint__isnull=True,
    )
    if event_types:
        deliveries = deliveries.filter(event__type__in=event_types)
    counted = dict(deliveries.order_by().values_list("state").annotate(count=Count("pk")))
    return Progress(
        arrived=counted.get(State.DELIVERED, 0),
        waiting=counted.get(State.WAITING, 0),
        failed=counted.get(State.FAILED, 0),
        stopped=counted.get(State.STOPPED, 0),
    )


def _by_endpoint(
    deliveries: "QuerySet[Delivery]", **figures: Count | Max | Min
) -> dict[UUID, dict[str, Any]]:
    rows: Any = deliveries.order_by().values("endpoint_id").annotate(**figures)
    return {row["endpoint_id"]: row for row in rows}


def _last_trouble(failing: Collection[UUID]) -> dict[UUID, tuple[int | None, str]]:
    """Return what the newest failed delivery of each of these got: a status or a sentence."""
    if not failing:
        return {}
    newest = Delivery.objects.filter(endpoint=OuterRef("pk")).exclude(last_error="")
    first = newest.order_by("-pk")
    found = Endpoint.objects.filter(pk__in=failing).values_list(
        "pk", Subquery(first.values("last_status")[:1]), Subquery(first.values("last_error")[:1])
    )
    return {pk: (status, error or "") for pk, status, error in found}


def _first_id_at(moment: datetime) -> UUID:
    """Return an id before every one made from that moment on."""
    return UUID(int=int(moment.timestamp() * 1000) << _MILLISECONDS_AT_BIT)
