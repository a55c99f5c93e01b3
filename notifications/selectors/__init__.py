"""Endpoints, deliveries and events as a caller may see them."""

from datetime import datetime, timedelta
from uuid import UUID

from django.db.models import QuerySet

from accounts.caller import Caller, Side
from core.epoch import cursor_at, epoch_number
from core.problems import Gone, NotFound
from notifications.models import Delivery, Endpoint, Event, FeedStart

CHANNEL_NAMES = {
    Endpoint.Channel.WEBHOOK: "webhook endpoint",
    Endpoint.Channel.EMAIL: "e-mail recipient",
}


def endpoints_of(caller: Caller, channel: Endpoint.Channel) -> QuerySet[Endpoint]:
    """Return the endpoints of a channel that the caller's side registered and did not delete."""
    return Endpoint.objects.filter(
        organisation_id=caller.organisation_id,
        channel=channel,
        direct=False,
        deleted_at__isnull=True,
    )


def endpoint_of(caller: Caller, channel: Endpoint.Channel, endpoint_id: UUID) -> Endpoint:
    """Return one of the caller's endpoints. Raises NotFound."""
    endpoint = endpoints_of(caller, channel).filter(pk=endpoint_id).first()
    if endpoint is None:
        raise no_such_endpoint(channel)
    return endpoint


def endpoint_for_change(caller: Caller, channel: Endpoint.Channel, endpoint_id: UUID) -> Endpoint:
    """Return one of the caller's endpoints with its row locked for this transaction."""
    endpoint = (
        endpoints_of(caller, channel)
        .select_for_update(of=("self",), no_key=True)
        .filter(pk=endpoint_id)
        .first()
    )
    if endpoint is None:
        raise no_such_endpoint(channel)
    return endpoint


def no_such_endpoint(channel: Endpoint.Channel) -> NotFound:
    """Return the problem for an endpoint that is missing or somebody else's: the same for both."""
    return NotFound(f"There is no such {CHANNEL_NAMES[channel]}, or it is not yours.")


def deliveries_of(endpoint: Endpoint) -> QuerySet[Delivery]:
    """Return the deliveries to an endpoint with their events (not what they say) and attempts."""
    return (
        Delivery.objects.filter(endpoint=endpoint)
        .select_related("event")
        .defer("event__body", "event__letter")
        .prefetch_related("attempts")
    )


def delivery_of(endpoint: Endpoint, delivery_id: UUID) -> Delivery:
    """Return one delivery to an endpoint. Raises NotFound."""
    delivery = deliveries_of(endpoint).filter(pk=delivery_id).first()
    if delivery is None:
        raise NotFound("There is no such delivery to this endpoint.")
    return delivery


def events_of(caller: Caller) -> QuerySet[Event]:
    """Return the events that concern the caller's organisation and have their position."""
    if caller.side is Side.DEALER:
        mine = Event.objects.filter(dealer_id=caller.organisation_id)
    else:
        mine = Event.objects.filter(workshop_id=caller.organisation_id)
    return mine.filter(position__isnull=False)


def events_after(caller: Caller, *, after: int, limit: int) -> list[Event]:
    """Return the caller's events behind a position, in order: one indexed query."""
    later = events_of(caller).filter(position__gt=after).order_by("position")
    return list(later.only("position", "id", "body")[:limit])


def events_wait_for_position() -> bool:
    """Return whether any committed event has no position yet: one look into a partial index."""
    return Event.objects.filter(position__isnull=True).order_by("number").exists()


def refuse_gone(caller: Caller, *, after: int | None = None, since: datetime | None = None) -> None:
    """Raise Gone where events behind this place of the caller's feed are not kept any more.

    Call it behind the reading of events: they may be dropped at this very moment.
    """
    if after is None and since is None:
        return
    start = FeedStart.objects.filter(organisation=caller.organisation_id).first()
    if start is None:
        return
    begin_at = start.recorded_until + timedelta(microseconds=1)
    passed = after is not None and after < start.position
    if passed or (since is not None and since < begin_at):
        cursor = cursor_at(start.position, epoch=epoch_number())
        raise Gone(
            "Some of the events behind this place are not kept any more.",
            next_step=(
                f"Begin after the cursor {cursor}, or from {begin_at.isoformat()}, and "
                "read GET /jobs for what you may have missed."
            ),
            extra={"cursor": cursor, "from": begin_at},
        )
