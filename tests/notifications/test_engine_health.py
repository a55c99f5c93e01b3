"""Health: a warning first, then the end, each said once; and never the end without a warning."""

from collections.abc import Iterator
from datetime import datetime, timedelta
from smtplib import SMTPServerDisconnected
from threading import Barrier, Thread

import pytest
from django.core.mail import EmailMessage
from django.db import connections
from pytest_django import Settings

from accounts.models import Organisation, Person
from core.clock import now
from notifications.models import Delivery, Endpoint
from notifications.services import health
from notifications.services.health import endpoint_disable, endpoints_review
from notifications.services.publish import events_publish
from tests.notifications.conftest import AddEndpoint, AddEvent

pytestmark = pytest.mark.django_db(transaction=True)
Outbox = list[EmailMessage]


def hours_ago(hours: float) -> datetime:
    return now() - timedelta(hours=hours)


@pytest.fixture
def endpoint(add_endpoint: AddEndpoint) -> Endpoint:
    return add_endpoint("https://hooks.harrowlane.example/a")


def failing(endpoint: Endpoint, *, since: float, warned: float | None = None) -> None:
    Endpoint.objects.filter(pk=endpoint.pk).update(
        failing_since=hours_ago(since), warned_at=None if warned is None else hours_ago(warned)
    )


def state(endpoint: Endpoint) -> str:
    endpoint.refresh_from_db()
    return endpoint.state


def test_nobody_is_warned_before_the_threshold(endpoint: Endpoint, mailoutbox: Outbox) -> None:
    failing(endpoint, since=23.9)
    endpoints_review()
    assert mailoutbox == []


def test_the_owner_is_warned_once(endpoint: Endpoint, mailoutbox: Outbox) -> None:
    failing(endpoint, since=24.1)
    endpoints_review()
    endpoints_review()
    (message,) = mailoutbox
    assert message.to == ["stock@harrowlane.example"]
    assert endpoint.address in message.subject
    assert "120 hours" in message.body
    assert f"/api/v1/webhook-endpoints/{endpoint.pk}/deliveries" in message.body
    assert state(endpoint) == "on"
    assert endpoint.warned_at is not None


def test_the_warning_names_the_last_failure(
    endpoint: Endpoint, add_event: AddEvent, mailoutbox: Outbox
) -> None:
    add_event()
    events_publish()
    Delivery.objects.update(last_error="The connection was refused.")
    failing(endpoint, since=25)
    endpoints_review()
    assert "The connection was refused." in mailoutbox[0].body


def test_it_is_disabled_after_the_warning_and_what_waits_is_stopped(
    endpoint: Endpoint, add_event: AddEvent, mailoutbox: Outbox
) -> None:
    add_event()
    events_publish()
    failing(endpoint, since=120.1, warned=96)
    endpoints_review()
    endpoints_review()
    assert state(endpoint) == "disabled"
    assert "120 hours" in endpoint.state_reason
    delivery = Delivery.objects.get()
    assert delivery.state == "stopped"
    assert delivery.finished_at is not None
    (message,) = mailoutbox
    assert f"/api/v1/webhook-endpoints/{endpoint.pk}" in message.body
    assert '{"state": "on"}' in message.body
    assert f"{endpoint.pk}/replay" in message.body


def test_it_is_never_disabled_unwarned(endpoint: Endpoint, mailoutbox: Outbox) -> None:
    failing(endpoint, since=500)
    endpoints_review()
    assert state(endpoint) == "on"
    assert len(mailoutbox) == 1
    Endpoint.objects.update(warned_at=hours_ago(23))
    endpoints_review()
    assert state(endpoint) == "on"
    Endpoint.objects.update(warned_at=hours_ago(24.1))
    endpoints_review()
    assert state(endpoint) == "disabled"


def test_a_warning_that_cannot_be_sent_is_sent_by_the_next_review(
    endpoint: Endpoint, mailoutbox: Outbox, monkeypatch: pytest.MonkeyPatch
) -> None:
    failing(endpoint, since=500)
    with monkeypatch.context() as patched:
        patched.setattr(EmailMessage, "send", _disconnected)
        endpoints_review()
    assert state(endpoint) == "on"
    assert endpoint.warned_at is None
    endpoints_review()
    assert len(mailoutbox) == 1


def _disconnected(_: EmailMessage) -> None:
    raise SMTPServerDisconnected("gone")


def test_a_success_in_between_saves_it(endpoint: Endpoint, mailoutbox: Outbox) -> None:
    failing(endpoint, since=121, warned=97)
    stale = Endpoint.objects.get()
    Endpoint.objects.update(failing_since=None, warned_at=None)
    assert (
        endpoint_disable(endpoint_id=stale.pk, reason="late", failing_since=stale.failing_since)
        is None
    )
    health._warn(stale)
    assert state(endpoint) == "on"
    assert mailoutbox == []


@pytest.mark.parametrize("fields", [{"state": "off"}, {"deleted_at": now()}])
def test_endpoints_that_are_off_or_deleted_are_left_alone(
    fields: dict[str, object], endpoint: Endpoint, mailoutbox: Outbox
) -> None:
    failing(endpoint, since=500, warned=300)
    Endpoint.objects.update(**fields)
    endpoints_review()
    assert state(endpoint) != "disabled"
    assert mailoutbox == []


def test_without_a_contact_the_people_in_charge_are_told(
    endpoint: Endpoint, dealer: Organisation, mailoutbox: Outbox
) -> None:
    Organisation.objects.update(contact_email="")
    for name, role, active in (
        ("ann", "staff", True),
        ("ben", "staff", False),
        ("cas", "valeter", True),
    ):
        Person.objects.create(
            email=f"{name}@harrowlane.example",
            name=name,
            role=role,
            organisation=dealer,
            is_active=active,
        )
    failing(endpoint, since=25)
    endpoints_review()
    assert mailoutbox[0].to == ["ann@harrowlane.example"]


def test_where_nobody_can_be_told_the_log_says_so_and_the_end_still_comes(
    endpoint: Endpoint, mailoutbox: Outbox
) -> None:
    Organisation.objects.update(contact_email="")
    failing(endpoint, since=500)
    endpoints_review()
    endpoint.refresh_from_db()
    assert endpoint.warned_at is not None
    Endpoint.objects.update(warned_at=hours_ago(25))
    endpoints_review()
    assert state(endpoint) == "disabled"
    assert mailoutbox == []


@pytest.fixture
def two_reviews() -> Iterator[list[Thread]]:
    together = Barrier(2)

    def review() -> None:
        try:
            together.wait(10)
            endpoints_review()
        finally:
            connections.close_all()

    threads = [Thread(target=review) for _ in range(2)]
    yield threads
    for thread in threads:
        thread.join(10)


@pytest.mark.parametrize(("since", "warned"), [(25.0, None), (130.0, 100.0)])
def test_two_reviews_at_once_send_one_message(
    since: float,
    warned: float | None,
    endpoint: Endpoint,
    two_reviews: list[Thread],
    mailoutbox: Outbox,
) -> None:
    failing(endpoint, since=since, warned=warned)
    for thread in two_reviews:
        thread.start()
    for thread in two_reviews:
        thread.join(10)
    assert len(mailoutbox) == 1


def test_the_thresholds_are_settings(
    endpoint: Endpoint, mailoutbox: Outbox, settings: Settings
) -> None:
    settings.WARN_AFTER_HOURS, settings.DISABLE_AFTER_HOURS = 1, 2
    failing(endpoint, since=2.1, warned=1.1)
    endpoints_review()
    assert state(endpoint) == "disabled"
    assert "2 hours" in mailoutbox[0].body
