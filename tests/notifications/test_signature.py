"""Signatures against the published vector and the reference library; secrets at rest."""

import base64
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from cryptography.fernet import Fernet
from pytest_django import Settings
from standardwebhooks import Webhook, WebhookVerificationError
from structlog.testing import capture_logs

from core.clock import now
from notifications.engine.post import signed_headers
from notifications.engine.run import deliver
from notifications.models import Attempt, Delivery, Endpoint
from notifications.notice import Notice
from notifications.services.secrets import (
    UnreadableSecretError,
    decrypt,
    encrypt,
    new_secret,
    secrets_for_signing,
)
from tests.notifications.conftest import AddEndpoint, AddEvent, deliver_until
from tests.notifications.receiver import Receiver, Reply

VECTOR_SECRET = "whsec_MfKQ9r8GKYqrTwjUPD8ILPZIo2LaLaSw"


def vector_notice() -> Notice:
    identity: Any = "msg_p5jXN8AQM9LWM0D4loKWxJek"  # not a UUID, as ours are
    return Notice(identity, "test", '{"test": 2432232314}')


def test_it_signs_the_published_vector() -> None:
    # Source: Standard Webhooks 1.0.0, the test vector of its reference library.
    at = datetime.fromtimestamp(1614265330, UTC)
    headers = signed_headers(notice=vector_notice(), secrets=[VECTOR_SECRET], at=at)
    assert headers["webhook-id"] == "msg_p5jXN8AQM9LWM0D4loKWxJek"
    assert headers["webhook-timestamp"] == "1614265330"
    assert headers["webhook-signature"] == "v1,g0hM9SsE+OTPJTGt/tmIKtSyZlE3uFJELVlNIOLJ1OE="


def test_the_timestamp_is_whole_seconds_and_the_one_that_was_signed() -> None:
    at = now().replace(microsecond=999_999)
    headers = signed_headers(notice=vector_notice(), secrets=[VECTOR_SECRET], at=at)
    assert headers["webhook-timestamp"] == str(int(at.timestamp()))
    assert Webhook(VECTOR_SECRET).verify(vector_notice().body, headers) == {"test": 2432232314}


@pytest.mark.parametrize(
    ("body", "age_minutes"), [('{"test": 2432232315}', 0), ('{"test": 2432232314}', 6)]
)
def test_the_reference_library_refuses_an_altered_body_and_an_old_timestamp(
    body: str, age_minutes: int
) -> None:
    at = now() - timedelta(minutes=age_minutes)
    headers = signed_headers(notice=vector_notice(), secrets=[VECTOR_SECRET], at=at)
    with pytest.raises(WebhookVerificationError):
        Webhook(VECTOR_SECRET).verify(body, headers)


@pytest.mark.django_db(transaction=True)
def test_the_bytes_that_arrive_are_the_bytes_that_were_stored_and_signed(
    receiver: Receiver, add_endpoint: AddEndpoint, add_event: AddEvent
) -> None:
    endpoint = add_endpoint(receiver.url("/a"))
    event = add_event(data={"job": {"make": "Écarlate ✓"}, "z": 1, "a": [1, 2.50, "  x "]})
    deliver()
    (arrived,) = receiver.at("/a")
    assert arrived.body == event.body.encode()
    assert arrived.verify(decrypt(endpoint.secret))["type"] == "job.ready"
    assert arrived.headers["webhook-id"] == str(event.id)
    assert arrived.headers["content-type"] == "application/json"
    assert arrived.headers["user-agent"].startswith("Shutline/")


@pytest.mark.django_db(transaction=True)
def test_the_id_stays_and_the_timestamp_is_fresh_when_it_is_tried_again(
    receiver: Receiver,
    add_endpoint: AddEndpoint,
    add_event: AddEvent,
    settings: Settings,
) -> None:
    settings.RETRY_SECONDS = (0, 1.2)
    receiver.answer("/a", Reply(500), Reply(200))
    endpoint = add_endpoint(receiver.url("/a"))
    event = add_event()
    deliver_until(lambda: len(receiver.at("/a")) == 2)
    first, second = receiver.at("/a")
    assert first.event_id == second.event_id == str(event.id)
    assert int(second.headers["webhook-timestamp"]) > int(first.headers["webhook-timestamp"])
    second.verify(decrypt(endpoint.secret))


@pytest.mark.django_db(transaction=True)
def test_both_secrets_sign_while_the_old_one_is_valid(
    receiver: Receiver, add_endpoint: AddEndpoint, add_event: AddEvent
) -> None:
    new, old = new_secret(), new_secret()
    endpoint = add_endpoint(
        receiver.url("/a"),
        secret=encrypt(new),
        old_secret=encrypt(old),
        old_secret_until=now() + timedelta(hours=1),
    )
    add_event()
    deliver()
    (arrived,) = receiver.at("/a")
    assert len(arrived.headers["webhook-signature"].split(" ")) == 2
    arrived.verify(new)
    arrived.verify(old)

    Endpoint.objects.filter(pk=endpoint.pk).update(old_secret_until=now())
    add_event()
    deliver()
    later = receiver.at("/a")[1]
    later.verify(new)
    with pytest.raises(WebhookVerificationError):
        later.verify(old)


def test_the_newest_secret_signs_first() -> None:
    at = now()
    endpoint = Endpoint(secret=encrypt("new"), old_secret=encrypt("old"), old_secret_until=at)
    assert secrets_for_signing(endpoint, at - timedelta(seconds=1)) == ["new", "old"]
    assert secrets_for_signing(endpoint, at) == ["new"]


def test_a_secret_is_32_random_bytes_with_the_standard_prefix() -> None:
    first, second = new_secret(), new_secret()
    assert first != second
    assert first.startswith("whsec_")
    assert len(base64.b64decode(first.removeprefix("whsec_"), validate=True)) == 32


def test_a_secret_is_not_readable_at_rest_and_survives_a_change_of_keys(
    settings: Settings,
) -> None:
    old_key, new_key = Fernet.generate_key().decode(), Fernet.generate_key().decode()
    settings.FIELD_KEYS = [old_key]
    token = encrypt("whsec_abc")
    assert "whsec_" not in token
    settings.FIELD_KEYS = [new_key, old_key]
    assert decrypt(token) == "whsec_abc"
    assert Fernet(new_key).decrypt(encrypt("whsec_abc")) == b"whsec_abc"
    settings.FIELD_KEYS = [new_key]
    with pytest.raises(UnreadableSecretError, match="SHUTLINE_FIELD_KEYS"):
        decrypt(token)


@pytest.mark.django_db(transaction=True)
def test_a_key_that_is_missing_spends_no_attempt_and_blames_no_endpoint(
    receiver: Receiver, add_endpoint: AddEndpoint, add_event: AddEvent, settings: Settings
) -> None:
    """It is the operator's fault: nothing is sent, and all of it arrives when the key is there."""
    key, secret = Fernet.generate_key(), new_secret()
    lost = add_endpoint(receiver.url("/lost"), secret=Fernet(key).encrypt(secret.encode()).decode())
    add_endpoint(receiver.url("/fine"))
    add_event()
    with capture_logs() as lines:
        deliver()
    assert len(receiver.at("/fine")) == 1
    assert receiver.at("/lost") == []
    waiting = Delivery.objects.get(endpoint=lost)
    assert (waiting.state, waiting.tries, waiting.claimed_until) == ("waiting", 0, None)
    assert "SHUTLINE_FIELD_KEYS" in waiting.last_error
    assert not Attempt.objects.filter(delivery=waiting).exists()
    lost.refresh_from_db()
    assert lost.failing_since is None
    (line,) = [line for line in lines if line["event"] == "field_key_missing"]
    assert line["log_level"] == "error"

    settings.FIELD_KEYS = [*settings.FIELD_KEYS, key.decode()]
    Delivery.objects.update(next_attempt_at=now())
    deliver()
    (arrived,) = receiver.at("/lost")
    arrived.verify(secret)
