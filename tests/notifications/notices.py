"""Notices for the tests of the API: events appended and placed, endpoints added."""

from datetime import timedelta
from typing import Any
from uuid import UUID

from django.db import transaction

from accounts.models import Organisation
from core.clock import now
from core.ids import new_id
from notifications.catalogue import event_types
from notifications.models import Attempt, Delivery, Endpoint, Event
from notifications.services.outbox import event_append
from notifications.services.publish import events_publish
from tests.scene import Api

URL = "https://stock.brackmoor.example/notices"
UNKNOWN = "01951a2b-3c4d-7e5f-8a6b-7c8d9e0f1a2b"


def happened(
    *,
    dealer: Organisation | None = None,
    workshop: Organisation | None = None,
    type: str = "job.arrived",  # noqa: A002  as in event_append
    place: bool = True,
    minutes_ago: int = 0,
    urgent: bool = False,
) -> Event:
    """Append the type's example as an event, and give it its place as a worker would."""
    with transaction.atomic():
        event = event_append(
            type=type,
            subject_id=new_id(),
            occurred_at=now(),
            data=event_types()[type].example_data,
            dealer_id=dealer.pk if dealer else None,
            workshop_id=workshop.pk if workshop else None,
            urgent=urgent,
        )
        if minutes_ago:
            event.recorded_at = now() - timedelta(minutes=minutes_ago)
            event.save(update_fields=["recorded_at"])
    if place:
        events_publish()
        event.refresh_from_db()
    return event


def add_webhook(api: Api, **fields: Any) -> Any:
    """Add a webhook endpoint over the API and return the answer's body."""
    response = api.post("/webhook-endpoints", {"url": URL, **fields})
    assert response.status_code == 201, response.content
    return response.json()


def delivery_to(endpoint_id: str | UUID, event: Event) -> Delivery:
    """Return the event's delivery to the endpoint."""
    return Delivery.objects.get(endpoint_id=endpoint_id, event=event)


def tried(delivery: Delivery, *, status: int | None, state: str, tries: int = 1) -> Attempt:
    """Record one attempt, as the engine would, and the state it left the delivery in."""
    moment = now()
    done = state != Delivery.State.WAITING
    Delivery.objects.filter(pk=delivery.pk).update(
        state=state, tries=tries, last_status=status, finished_at=moment if done else None
    )
    return Attempt.objects.create(
        delivery=delivery,
        started_at=moment,
        status=status,
        milliseconds=41,
        answer="Back in a moment" if status else "",
        error="" if status else "No answer within 20 s.",
    )


def failing(endpoint_id: str, *, state: str = Endpoint.State.DISABLED) -> None:
    """Leave an endpoint as long failure leaves it."""
    moment = now() - timedelta(hours=120)
    Endpoint.objects.filter(pk=endpoint_id).update(
        state=state,
        state_reason="It failed for 120 hours.",
        failing_since=moment,
        warned_at=moment,
        slowed_until=now() + timedelta(minutes=1),
    )
