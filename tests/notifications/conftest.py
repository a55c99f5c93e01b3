"""What the tests of the engine share: organisations, endpoints, events and a real receiver."""

import time
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from datetime import timedelta
from types import SimpleNamespace
from typing import Any, Protocol
from uuid import UUID

import pytest
from django.db import transaction
from pytest_django import Settings

from accounts.models import Organisation
from core.clock import now
from core.ids import new_id
from notifications.engine import run as running
from notifications.engine.run import deliver
from notifications.models import Delivery, Endpoint, Event
from notifications.services.outbox import event_append
from notifications.services.secrets import encrypt, new_secret
from tests.notifications.mail_server import MailServer, serving
from tests.notifications.processes import Processes
from tests.notifications.receiver import Receiver
from tests.patience import PATIENCE_SECONDS

CAR = {
    "registration": "TU21 ABC",
    "make": "Corvane",
    "model": "Lynd 1.4",
    "dealer_ref": "PX-1042",
    "stage": "ready",
}


def deliver_until(holds: Callable[[], bool]) -> None:
    """Run the engine again and again, as the sweep does, until something holds."""
    deadline = time.monotonic() + PATIENCE_SECONDS
    deliver()
    while not holds():
        assert time.monotonic() < deadline, "It did not come about in time."
        deliver()


class MovedHands:
    """A clock for the engine's runs that stands still unless moved, by hand or at each look."""

    def __init__(self, monkeypatch: pytest.MonkeyPatch, step: float = 0.0) -> None:
        self.seconds, self.step = 1000.0, step
        self.looks = 0
        monkeypatch.setattr(running, "time", SimpleNamespace(monotonic=self._look))

    def _look(self) -> float:
        self.looks += 1
        self.seconds += self.step
        return self.seconds


@contextmanager
def engine_running() -> Iterator[None]:
    """Run the engine in a thread beside the test, and wait for its end."""
    with ThreadPoolExecutor(1) as pool:
        run = pool.submit(deliver)
        yield
        run.result(timeout=PATIENCE_SECONDS)


@pytest.fixture
def patient(settings: Settings) -> None:
    """Make the engine wait for a held answer for as long as a test does."""
    settings.DELIVERY_TIMEOUT_SECONDS = PATIENCE_SECONDS
    settings.DELIVERY_LEASE_SECONDS = 2 * PATIENCE_SECONDS


@pytest.fixture
def receiver() -> Iterator[Receiver]:
    with Receiver() as running:
        yield running


@pytest.fixture
def processes() -> Iterator[Processes]:
    several = Processes()
    yield several
    several.end()


@pytest.fixture
def dealer() -> Organisation:
    return Organisation.objects.create(
        kind="dealer", name="Harrow Lane Cars", contact_email="stock@harrowlane.example"
    )


@pytest.fixture
def workshop() -> Organisation:
    return Organisation.objects.create(kind="workshop", name="Tidewater Valeting")


@pytest.fixture
def mail_server(settings: Settings) -> Iterator[MailServer]:
    """Run a mail server of the test's own, which the service sends through."""
    with serving() as (server, port):
        settings.EMAIL_BACKEND = "django.core.mail.backends.smtp.EmailBackend"
        settings.EMAIL_HOST, settings.EMAIL_PORT = "127.0.0.1", port
        yield server


class AddEndpoint(Protocol):
    def __call__(self, address: str, **fields: Any) -> Endpoint: ...


@pytest.fixture
def add_endpoint(dealer: Organisation) -> AddEndpoint:
    def add(address: str, **fields: Any) -> Endpoint:
        return Endpoint.objects.create(
            **{
                "organisation": dealer,
                "channel": Endpoint.Channel.WEBHOOK,
                "address": address,
                "secret": encrypt(new_secret()),
                **fields,
            }
        )

    return add


class AddEvent(Protocol):
    def __call__(self, subject_id: UUID | None = None, **fields: Any) -> Event: ...


@pytest.fixture
def add_event(dealer: Organisation, monkeypatch: pytest.MonkeyPatch) -> AddEvent:
    """Append an event as a service does, without a broker to wake anybody through."""
    monkeypatch.setattr("notifications.services.outbox.wake_deliverer", lambda: None)

    def add(subject_id: UUID | None = None, **fields: Any) -> Event:
        with transaction.atomic():
            return event_append(
                **{
                    "type": "job.ready",
                    "subject_id": subject_id or new_id(),
                    "occurred_at": now(),
                    "data": {"job": CAR, "override": False, "reason": ""},
                    "dealer_id": dealer.pk,
                    **fields,
                }
            )

    return add


class FillBacklog(Protocol):
    def __call__(self, endpoint: Endpoint, count: int) -> None: ...


@pytest.fixture
def backlog() -> FillBacklog:
    """Give an endpoint a backlog of due deliveries, older than anything a test appends."""

    def fill(endpoint: Endpoint, count: int) -> None:
        moment = now() - timedelta(hours=1)
        Event.objects.bulk_create(
            Event(
                type="job.ready",
                dealer_id=endpoint.organisation_id,
                subject_id=new_id(),
                occurred_at=moment,
                recorded_at=moment,
                body='{"type":"job.ready","timestamp":"2027-03-01T09:30:00Z","data":{}}',
                position=position,
            )
            for position in range(1, count + 1)
        )
        Delivery.objects.bulk_create(
            Delivery(
                event=event,
                endpoint=endpoint,
                subject_id=event.subject_id,
                next_attempt_at=moment,
                created_at=moment,
            )
            for event in Event.objects.order_by("number").only("number", "subject_id")
        )

    return fill
