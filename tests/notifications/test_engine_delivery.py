"""One notice and a real receiver: what counts as arrived, what as failed, and what is kept."""

from datetime import timedelta

import pytest
from pytest_django import Settings

from core.clock import now
from notifications.engine.run import deliver
from notifications.models import Attempt, Delivery, Endpoint
from tests.figures import without_ids
from tests.notifications.conftest import (
    AddEndpoint,
    AddEvent,
    MovedHands,
    deliver_until,
    engine_running,
)
from tests.notifications.receiver import Receiver, Reply
from tests.reliability.service import wait_until

pytestmark = pytest.mark.django_db(transaction=True)


def tried(receiver: Receiver, add_endpoint: AddEndpoint, add_event: AddEvent) -> Attempt:
    """Deliver one notice to /a and return its only attempt."""
    add_endpoint(receiver.url("/a"))
    add_event()
    deliver()
    return Attempt.objects.select_related("delivery").get()


@pytest.mark.parametrize("status", [200, 201, 202, 204, 299])
def test_any_2xx_is_an_arrival(
    status: int, receiver: Receiver, add_endpoint: AddEndpoint, add_event: AddEvent
) -> None:
    receiver.answer("/a", Reply(status, b""))
    attempt = tried(receiver, add_endpoint, add_event)
    delivery = attempt.delivery
    assert (attempt.status, attempt.error) == (status, "")
    assert (delivery.state, delivery.tries, delivery.last_status) == ("delivered", 1, status)
    assert delivery.claimed_until is None
    assert delivery.finished_at is not None


@pytest.mark.parametrize("status", [301, 302, 303, 307, 308])
def test_a_redirect_is_a_failure_and_is_not_followed(
    status: int, receiver: Receiver, add_endpoint: AddEndpoint, add_event: AddEvent
) -> None:
    receiver.answer("/a", Reply(status, headers={"Location": receiver.url("/elsewhere")}))
    attempt = tried(receiver, add_endpoint, add_event)
    assert attempt.status == status
    assert "redirect" in attempt.error
    assert attempt.delivery.state == "waiting"
    assert receiver.at("/elsewhere") == []


@pytest.mark.parametrize("status", [400, 401, 404, 500, 503])
def test_any_other_answer_is_a_failure_that_is_tried_again(
    status: int, receiver: Receiver, add_endpoint: AddEndpoint, add_event: AddEvent
) -> None:
    receiver.answer("/a", Reply(status, b"not today"))
    began = now()
    attempt = tried(receiver, add_endpoint, add_event)
    ended = now()
    delivery = attempt.delivery
    assert (attempt.status, attempt.answer) == (status, "not today")
    assert (delivery.state, delivery.tries, delivery.last_status) == ("waiting", 1, status)
    assert delivery.last_error == f"The receiver answered {status}."
    assert delivery.claimed_until is None
    # 5 s after the attempt, a tenth to either side.
    assert began + timedelta(seconds=4.5) <= delivery.next_attempt_at
    assert delivery.next_attempt_at <= ended + timedelta(seconds=5.5)


def test_the_first_kib_of_the_answer_is_kept(
    receiver: Receiver, add_endpoint: AddEndpoint, add_event: AddEvent
) -> None:
    receiver.answer("/a", Reply(500, b"a\x00b" + b"\xff" + b"c" * 5000))
    attempt = tried(receiver, add_endpoint, add_event)
    assert attempt.answer == "a\ufffdb\ufffd" + "c" * 1020


def test_an_answer_without_end_does_not_hold_the_engine(
    receiver: Receiver, add_endpoint: AddEndpoint, add_event: AddEvent
) -> None:
    receiver.answer("/a", Reply(200, endless=True))
    attempt = tried(receiver, add_endpoint, add_event)
    assert attempt.delivery.state == "delivered"
    assert len(attempt.answer) == 1024


def test_an_answer_that_trickles_is_cut_off_once_its_status_is_known(
    receiver: Receiver, add_endpoint: AddEndpoint, add_event: AddEvent
) -> None:
    receiver.answer("/a", Reply(200, b"x", endless=True, pause_seconds=0.4))
    attempt = tried(receiver, add_endpoint, add_event)
    assert attempt.delivery.state == "delivered"
    assert 0 < len(attempt.answer) < 1024


def test_no_answer_in_time_is_a_failure(
    receiver: Receiver, add_endpoint: AddEndpoint, add_event: AddEvent, settings: Settings
) -> None:
    settings.DELIVERY_TIMEOUT_SECONDS = 1
    receiver.answer("/a", Reply(held=True))
    attempt = tried(receiver, add_endpoint, add_event)
    assert attempt.status is None
    assert attempt.error == "No answer within 1 seconds."
    assert attempt.milliseconds >= 900


def test_a_refused_connection_is_a_failure(add_endpoint: AddEndpoint, add_event: AddEvent) -> None:
    add_endpoint("http://127.0.0.1:9/a")
    add_event()
    deliver()
    assert Attempt.objects.get().error == "The connection was refused."


def test_https_to_a_receiver_without_tls_is_said_plainly(
    receiver: Receiver, add_endpoint: AddEndpoint, add_event: AddEvent
) -> None:
    add_endpoint(receiver.url("/a").replace("http:", "https:"))
    add_event()
    deliver()
    assert "TLS" in Attempt.objects.get().error


def test_an_address_of_the_inside_is_refused_and_said_plainly(
    receiver: Receiver, add_endpoint: AddEndpoint, add_event: AddEvent, settings: Settings
) -> None:
    settings.OPEN_NETWORKS = ()
    attempt = tried(receiver, add_endpoint, add_event)
    assert "127.0.0.1 is not allowed" in attempt.error
    assert receiver.received == []


def test_after_the_last_attempt_it_is_given_up(
    receiver: Receiver, add_endpoint: AddEndpoint, add_event: AddEvent, settings: Settings
) -> None:
    settings.RETRY_SECONDS = (0, 0, 0)
    receiver.answer("/a", Reply(500))
    add_endpoint(receiver.url("/a"))
    add_event()
    deliver_until(lambda: Delivery.objects.get().state == "failed")
    delivery = Delivery.objects.get()
    assert (delivery.tries, delivery.claimed_until) == (3, None)
    assert delivery.finished_at is not None
    assert Attempt.objects.count() == len(receiver.at("/a")) == 3


def test_410_disables_the_endpoint_at_once_stops_the_rest_and_tells_its_owner(
    receiver: Receiver,
    add_endpoint: AddEndpoint,
    add_event: AddEvent,
    mailoutbox: list[object],
) -> None:
    receiver.answer("/a", Reply(410))
    endpoint = add_endpoint(receiver.url("/a"))
    subject = add_event().subject_id
    add_event(subject)
    deliver()
    endpoint.refresh_from_db()
    assert endpoint.state == Endpoint.State.DISABLED
    assert "410" in without_ids(endpoint.state_reason)
    assert list(Delivery.objects.values_list("state", flat=True)) == ["stopped", "stopped"]
    assert len(receiver.at("/a")) == 1
    assert len(mailoutbox) == 1
    add_event()
    deliver()
    assert len(receiver.at("/a")) == 1


def test_429_with_retry_after_waits_as_asked_and_slows_the_endpoint(
    receiver: Receiver, add_endpoint: AddEndpoint, add_event: AddEvent
) -> None:
    receiver.answer("/a", Reply(429, headers={"Retry-After": "120"}), Reply(200))
    began = now()
    attempt = tried(receiver, add_endpoint, add_event)
    assert attempt.delivery.next_attempt_at >= began + timedelta(seconds=120)
    slowed_until = Endpoint.objects.get().slowed_until
    assert slowed_until is not None
    assert slowed_until >= began + timedelta(seconds=120)


def test_a_slowed_endpoint_is_met_once_by_a_run_not_by_its_whole_backlog(
    receiver: Receiver, add_endpoint: AddEndpoint, add_event: AddEvent
) -> None:
    add_endpoint(receiver.url("/a"), slowed_until=now() + timedelta(minutes=5))
    for _ in range(5):
        add_event()
    deliver()  # its pause is longer than a run with nothing else to do
    assert len(receiver.at("/a")) == 1
    deliver()
    assert len(receiver.at("/a")) == 2


def test_a_slowed_endpoint_is_met_with_pauses_by_a_run_that_goes_on(
    receiver: Receiver,
    add_endpoint: AddEndpoint,
    add_event: AddEvent,
    monkeypatch: pytest.MonkeyPatch,
    patient: None,
) -> None:
    del patient
    hands = MovedHands(monkeypatch)
    receiver.answer("/slow", Reply(held=True))  # so that the run goes on
    add_endpoint(receiver.url("/slow"))
    add_endpoint(receiver.url("/a"), slowed_until=now() + timedelta(hours=5))
    for _ in range(4):
        add_event()
    with engine_running():
        for met in (1, 2, 3):
            receiver.wait_for(met, "/a")
            hands.seconds += 0.9
            hands.looks = 0
            wait_until(lambda: hands.looks > 20, "more turns of the run")
            assert len(receiver.at("/a")) == met
            hands.seconds += 0.2
        receiver.release()


def test_success_after_failure_clears_the_endpoints_record(
    receiver: Receiver, add_endpoint: AddEndpoint, add_event: AddEvent, settings: Settings
) -> None:
    settings.RETRY_SECONDS = (0, 0)
    receiver.answer("/a", Reply(500), Reply(200))
    endpoint = add_endpoint(receiver.url("/a"))
    add_event()
    deliver_until(lambda: Delivery.objects.get().state == "delivered")
    endpoint.refresh_from_db()
    assert (endpoint.failing_since, endpoint.warned_at) == (None, None)


def test_failing_since_is_the_first_failure_not_the_latest(
    receiver: Receiver, add_endpoint: AddEndpoint, add_event: AddEvent, settings: Settings
) -> None:
    settings.RETRY_SECONDS = (0, 0)
    receiver.answer("/a", Reply(500))
    endpoint = add_endpoint(receiver.url("/a"))
    add_event()
    deliver_until(lambda: Delivery.objects.get().tries == 2)
    endpoint.refresh_from_db()
    second = Attempt.objects.order_by("started_at").last()
    assert second is not None
    assert endpoint.failing_since is not None
    assert endpoint.failing_since < second.started_at


def test_a_fault_of_our_own_fails_one_notice_and_no_other(
    receiver: Receiver,
    add_endpoint: AddEndpoint,
    add_event: AddEvent,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    add_endpoint("someone@harrowlane.example", channel="email")
    add_endpoint(receiver.url("/a"))

    def broken(**_: object) -> None:
        raise KeyError("a fault")

    monkeypatch.setattr("notifications.engine.letters.notice_mail", broken)
    add_event()
    deliver()
    assert len(receiver.at("/a")) == 1
    failed = Delivery.objects.get(endpoint__channel="email")
    assert failed.state == "waiting"
    assert "operator" in failed.last_error
