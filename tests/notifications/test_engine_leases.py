"""Leases: a killed worker's work is taken up, and its late results change nothing."""

from datetime import timedelta

import pytest
from django.db import OperationalError
from pytest_django import Settings

from core.clock import now
from notifications.engine import run as running
from notifications.engine.claim import Claimed, claim
from notifications.engine.places import Room
from notifications.engine.run import deliver
from notifications.models import Attempt, Delivery
from notifications.services.publish import events_publish
from notifications.services.results import Recorded, Result, results_record
from tests.notifications.conftest import AddEndpoint, AddEvent
from tests.notifications.receiver import Receiver

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture
def due(add_endpoint: AddEndpoint, add_event: AddEvent) -> Delivery:
    add_endpoint("https://a.example/1")
    add_event()
    events_publish()
    return Delivery.objects.get()


def claim_one() -> Claimed:
    (item,) = claim(room=Room.of(places=8, in_flight=0, frail_in_flight=0)).claimed
    return item


def nothing_to_claim() -> bool:
    return not claim(room=Room.of(places=8, in_flight=0, frail_in_flight=0)).claimed


def result(item: Claimed, **fields: object) -> Result:
    return Result(
        **{  # type: ignore[arg-type]
            "delivery_id": item.delivery_id,
            "endpoint_id": item.endpoint.pk,
            "lease": item.lease,
            "started_at": now(),
            "milliseconds": 12,
            "status": 200,
            **fields,
        }
    )


def run_out() -> None:
    Delivery.objects.update(claimed_until=now() - timedelta(milliseconds=1))


def test_what_is_claimed_is_nobody_elses_until_the_lease_runs_out(due: Delivery) -> None:
    item = claim_one()
    due.refresh_from_db()
    assert due.claimed_until == item.lease
    assert nothing_to_claim()
    run_out()
    again = claim_one()
    assert again.delivery_id == item.delivery_id
    assert again.lease != item.lease


def test_the_lease_lasts_as_long_as_its_setting_says(due: Delivery, settings: Settings) -> None:
    settings.DELIVERY_LEASE_SECONDS = 1000
    claim_one()
    due.refresh_from_db()
    assert due.claimed_until is not None
    assert 990 < (due.claimed_until - now()).total_seconds() <= 1000


def test_a_late_result_of_a_lost_lease_is_kept_as_an_attempt_and_changes_nothing(
    due: Delivery,
) -> None:
    killed = claim_one()
    run_out()
    present = claim_one()
    late = result(killed, status=500, error="The receiver answered 500.")
    assert list(results_record(results=[late]).held) == []
    due.refresh_from_db()
    assert (due.state, due.tries, due.claimed_until) == ("waiting", 0, present.lease)
    assert Attempt.objects.get().status == 500

    assert list(results_record(results=[result(present)]).held) == [due.pk]
    due.refresh_from_db()
    assert (due.state, due.tries) == ("delivered", 1)

    results_record(results=[late])
    due.refresh_from_db()
    assert (due.state, due.tries) == ("delivered", 1)


def test_a_result_for_an_endpoint_switched_off_meanwhile_leaves_it_stopped(due: Delivery) -> None:
    item = claim_one()
    Delivery.objects.update(state="stopped", claimed_until=None)
    results_record(results=[result(item, status=500, error="no", next_attempt_at=now())])
    due.refresh_from_db()
    assert due.state == "stopped"
    assert Attempt.objects.count() == 1


def test_a_killed_workers_delivery_is_sent_by_the_next_run(
    receiver: Receiver, add_endpoint: AddEndpoint, add_event: AddEvent
) -> None:
    add_endpoint(receiver.url("/a"))
    add_event()
    events_publish()
    claim_one()
    deliver()
    assert receiver.received == []
    run_out()
    deliver()
    assert len(receiver.at("/a")) == 1
    assert Delivery.objects.get().state == "delivered"


def test_recording_is_tried_again_when_the_database_is_away_for_a_moment(
    receiver: Receiver,
    add_endpoint: AddEndpoint,
    add_event: AddEvent,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    failures = iter([OperationalError("away"), OperationalError("away")])

    def record(*, results: list[Result]) -> Recorded:
        for failure in failures:
            raise failure
        return results_record(results=results)

    monkeypatch.setattr(running, "results_record", record)
    monkeypatch.setattr(running, "RECORDING_WAITS_SECONDS", (0.01, 0.01))
    add_endpoint(receiver.url("/a"))
    add_event()
    deliver()
    assert Delivery.objects.get().state == "delivered"
    assert len(receiver.at("/a")) == 1


def test_a_database_that_fails_while_claiming_ends_the_run_with_its_error_after_recording(
    receiver: Receiver,
    add_endpoint: AddEndpoint,
    add_event: AddEvent,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    calls: list[object] = []

    def claim_once(**arguments: object) -> object:
        if calls:
            raise OperationalError("away")
        calls.append(arguments)
        return claim(**arguments)  # type: ignore[arg-type]

    monkeypatch.setattr(running, "claim", claim_once)
    add_endpoint(receiver.url("/a"))
    add_event()
    with pytest.raises(OperationalError, match="away"):
        deliver()
    assert Delivery.objects.get().state == "delivered"
