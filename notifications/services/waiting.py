"""What waits for an endpoint: locked in one order by everybody, and stopped when it goes off."""

from datetime import datetime
from uuid import UUID

from django.db.models import QuerySet

from notifications.models import Delivery


def lock_in_order(deliveries: QuerySet[Delivery]) -> None:
    """Lock rows by id, as the engine does when it records, so that neither can block the other."""
    ids = deliveries.select_for_update(no_key=True).order_by("pk").values_list("pk", flat=True)
    list(ids.iterator())


def waiting_stop(*, endpoint_id: UUID, at: datetime) -> int:
    """Stop what still waits for an endpoint, inside the caller's transaction; return how many."""
    waiting = Delivery.objects.filter(endpoint=endpoint_id, state=Delivery.State.WAITING)
    lock_in_order(waiting)
    return waiting.update(state=Delivery.State.STOPPED, finished_at=at, claimed_until=None)
