"""How endpoints, deliveries and attempts are told on a page."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

import orjson

from core.clock import now
from notifications.catalogue import ENDPOINT_TESTED, event_types
from notifications.models import Attempt, Delivery, Endpoint
from notifications.pages.kinds import Kind, kind_of, type_words
from notifications.selectors.overview import Doing
from notifications.words import SUCCESS, Advice, advice_on

ON, DISABLED = Endpoint.State.ON, Endpoint.State.DISABLED
STATE_WORDS: dict[str, tuple[str, str]] = {
    Endpoint.State.ON: ("On", "good"),
    Endpoint.State.OFF: ("Off", ""),
    Endpoint.State.DISABLED: ("Stopped by the service", "danger"),
}
DELIVERY_WORDS: dict[str, tuple[str, str]] = {
    Delivery.State.WAITING: ("Waiting", "wait"),
    Delivery.State.DELIVERED: ("Arrived", "good"),
    Delivery.State.FAILED: ("Given up", "danger"),
    Delivery.State.STOPPED: ("Not sent: it was off", ""),
}
MOST_ATTEMPTS = 10
NEWEST = "newest_attempts"  # where a delivery has those read with it
# What the car is called, as far as the notice says it.
VEHICLE = ("make", "model", "colour")


@dataclass(frozen=True, slots=True)
class EndpointLine:
    """One endpoint as the list tells it."""

    endpoint: Endpoint
    doing: Doing

    @property
    def kind(self) -> Kind:
        """Return how it is called."""
        return kind_of(self.endpoint)

    @property
    def address(self) -> str:
        """Return where its own page is."""
        return self.kind.to(self.endpoint)

    @property
    def state(self) -> tuple[str, str]:
        """Return its state in words, and the look of it."""
        if self.endpoint.state == ON and self.endpoint.failing_since:
            return "On, but failing", "wait"
        return STATE_WORDS[self.endpoint.state]

    @property
    def is_on(self) -> bool:
        """Return whether notices go there."""
        return self.endpoint.state == ON

    @property
    def needs_you(self) -> bool:
        """Return whether somebody must do something about it."""
        return self._urgency < len(self._troubles)

    @property
    def advice(self) -> Advice | None:
        """Return what its newest failure means, while it fails."""
        if not self.endpoint.failing_since:
            return None
        return advice_on(self.doing.last_status, self.doing.last_error)

    @property
    def takes(self) -> list[str]:
        """Return what it takes, in words; nothing for everything."""
        return type_words(self.endpoint.event_types)

    @property
    def order(self) -> tuple[int, int]:
        """Return where it stands in the list: who needs somebody first, what is off last."""
        return self._urgency, 0 if self.is_on else 1

    @property
    def _troubles(self) -> tuple[bool, ...]:
        return (
            self.endpoint.state == DISABLED,
            self.is_on and self.endpoint.failing_since is not None,
            self.is_on and self.doing.failed > 0,
        )

    @property
    def _urgency(self) -> int:
        found = (index for index, holds in enumerate(self._troubles) if holds)
        return next(found, len(self._troubles))


@dataclass(frozen=True, slots=True)
class AttemptLine:
    """One try as the list tells it."""

    attempt: Attempt

    @property
    def words(self) -> str:
        """Return what came of it in a sentence."""
        attempt = self.attempt
        if attempt.status is None:
            return attempt.error or "The mail server took it."
        verdict = "took it" if attempt.status in SUCCESS else "refused"
        return f"The receiver {verdict}, with status {attempt.status}."


@dataclass(frozen=True, slots=True)
class DeliveryLine:
    """One notice on its way, as the list tells it."""

    delivery: Delivery
    data: dict[str, Any]
    attempts: Sequence[AttemptLine]
    at: datetime

    @property
    def what(self) -> str:
        """Return what happened in a sentence."""
        name = self.delivery.event.type
        kind = event_types().get(name)
        return str(self.data.get("headline") or (kind.summary if kind else name))

    @property
    def mark(self) -> str:
        """Return what the car is called by: its registration, else its VIN or reference."""
        job = self._job
        return str(job.get("registration") or job.get("vin") or job.get("dealer_ref") or "")

    @property
    def vehicle(self) -> str:
        """Return the car in words."""
        return " ".join(str(self._job[name]) for name in VEHICLE if self._job.get(name))

    @property
    def is_test(self) -> bool:
        """Return whether somebody asked for it, and no car is meant."""
        return self.delivery.event.type == ENDPOINT_TESTED.name

    @property
    def state(self) -> tuple[str, str]:
        """Return its state in words, and the look of it."""
        return DELIVERY_WORDS[self.delivery.state]

    @property
    def waits(self) -> bool:
        """Return whether a try is to come."""
        return self.delivery.state == Delivery.State.WAITING

    @property
    def is_due(self) -> bool:
        """Return whether its turn has come: it is being sent, or waits behind an earlier one."""
        return self.waits and self.delivery.next_attempt_at <= self.at

    @property
    def advice(self) -> Advice | None:
        """Return what its last failure means, unless it has arrived since."""
        delivery = self.delivery
        arrived = delivery.state == Delivery.State.DELIVERED
        return (
            advice_on(delivery.last_status, delivery.last_error)
            if delivery.last_error and not arrived
            else None
        )

    @property
    def earlier(self) -> bool:
        """Return whether there may be attempts before those shown."""
        return len(self.attempts) == MOST_ATTEMPTS

    @property
    def button(self) -> str:
        """Return what sending it again is called."""
        return "Try now" if self.waits else "Send again"

    @property
    def _job(self) -> dict[str, Any]:
        job: dict[str, Any] = self.data.get("job") or {}
        return job


def delivery_lines(deliveries: Iterable[Delivery]) -> list[DeliveryLine]:
    """Return the lines of deliveries whose newest attempts were read with them."""
    at = now()
    return [
        DeliveryLine(
            delivery=delivery,
            data=orjson.loads(delivery.event.body)["data"],
            attempts=[AttemptLine(attempt) for attempt in getattr(delivery, NEWEST)],
            at=at,
        )
        for delivery in deliveries
    ]
