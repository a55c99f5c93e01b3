"""Fairness: no endpoint, slow, dead or far behind, delays another."""

from concurrent.futures import ThreadPoolExecutor

import pytest
from django.db import connection, connections, transaction
from django.test.utils import CaptureQueriesContext
from pytest_django import Settings

from core.clock import now
from notifications.engine import claim as claiming
from notifications.engine import run as running
from notifications.engine.claim import LOOK_AHEAD, claim, due_endpoints
from notifications.engine.places import Room
from notifications.engine.run import deliver
from notifications.models import Attempt, Delivery, Endpoint
from notifications.services.publish import events_publish
from tests.notifications.conftest import (
    AddEndpoint,
    AddEvent,
    FillBacklog,
    MovedHands,
    engine_running,
)
from tests.notifications.processes import Processes
from tests.notifications.receiver import Receiver, Reply
from tests.patience import PATIENCE_SECONDS

pytestmark = pytest.mark.django_db(transaction=True)
BACKLOG = 10_000
HELD = Reply(held=True)


def test_a_slow_endpoint_does_not_delay_another(
    receiver: Receiver, add_endpoint: AddEndpoint, add_event: AddEvent, patient: None
) -> None:
    del patient
    receiver.answer("/slow", HELD)
    add_endpoint(receiver.url("/slow"))
    add_event()
    with engine_running():
        receiver.wait_for(1, "/slow")
        add_endpoint(receiver.url("/fast"))
        add_event()
        receiver.wait_for(1, "/fast")
        assert not Attempt.objects.filter(
            delivery__endpoint__address=receiver.url("/slow")
        ).exists()
        receiver.release()


def test_past_its_time_a_run_claims_on_while_a_slow_one_is_in_flight(
    receiver: Receiver,
    add_endpoint: AddEndpoint,
    add_event: AddEvent,
    monkeypatch: pytest.MonkeyPatch,
    patient: None,
) -> None:
    del patient
    hands = MovedHands(monkeypatch)
    receiver.answer("/slow", HELD)
    add_endpoint(receiver.url("/slow"))
    add_event()
    with engine_running():
        receiver.wait_for(1, "/slow")
        add_endpoint(receiver.url("/fast"))
        hands.seconds += running.RUN_SECONDS
        add_event()
        receiver.wait_for(1, "/fast")
        assert not Attempt.objects.filter(
            delivery__endpoint__address=receiver.url("/slow")
        ).exists()
        receiver.release()


def test_a_run_ends_in_time_and_says_so(
    receiver: Receiver,
    add_endpoint: AddEndpoint,
    backlog: FillBacklog,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    # Each look at the clock is a second later, so that the run's time is up after a few turns.
    MovedHands(monkeypatch, step=1.0)
    backlog(add_endpoint(receiver.url("/a")), 1000)
    report = deliver()
    assert report.time_is_up
    assert 0 < report.delivered < 1000
    assert not Delivery.objects.filter(claimed_until__isnull=False).exists()


def test_many_slow_endpoints_do_not_take_every_place(
    receiver: Receiver,
    add_endpoint: AddEndpoint,
    add_event: AddEvent,
    settings: Settings,
    patient: None,
) -> None:
    del patient
    settings.DELIVERY_CONCURRENCY = 8
    for number in range(3):
        receiver.answer(f"/slow{number}", HELD)
        add_endpoint(receiver.url(f"/slow{number}"))
    for _ in range(8):
        add_event()
    with engine_running():
        receiver.wait_until(lambda: len(receiver.received) == 6)
        add_endpoint(receiver.url("/fast"))
        add_event()
        receiver.wait_for(1, "/fast")
        assert [len(receiver.at(f"/slow{number}")) for number in range(3)] == [2, 2, 2]
        Endpoint.objects.update(state=Endpoint.State.OFF)  # so that the run need not do the rest
        receiver.release()


def test_many_dead_endpoints_do_not_take_every_place(
    receiver: Receiver,
    add_endpoint: AddEndpoint,
    add_event: AddEvent,
    settings: Settings,
    patient: None,
) -> None:
    del patient
    settings.DELIVERY_CONCURRENCY = 8
    for number in range(20):
        receiver.answer(f"/dead{number}", Reply(500, held=True))
        add_endpoint(receiver.url(f"/dead{number}"), failing_since=now())
    add_event()
    with engine_running():
        receiver.wait_until(lambda: len(receiver.received) == 4)
        add_endpoint(receiver.url("/fast"))
        add_event()
        receiver.wait_for(1, "/fast")
        assert sum(len(receiver.at(f"/dead{number}")) for number in range(20)) == 4
        Endpoint.objects.update(state=Endpoint.State.OFF)  # so that the run need not do the rest
        receiver.release()


def test_an_endpoint_never_gets_more_at_once_than_its_cap(
    receiver: Receiver, add_endpoint: AddEndpoint, add_event: AddEvent, settings: Settings
) -> None:
    settings.ENDPOINT_CONCURRENCY = 3
    receiver.answer("/a", Reply(delay_seconds=0.1))
    add_endpoint(receiver.url("/a"))
    for _ in range(20):
        add_event()
    deliver()
    assert len(receiver.at("/a")) == 20
    assert receiver.most_at_once["/a"] == 3


def test_a_failing_endpoint_is_met_one_at_a_time_until_it_answers(
    receiver: Receiver, add_endpoint: AddEndpoint, add_event: AddEvent
) -> None:
    receiver.answer("/a", Reply(500, delay_seconds=0.1))
    add_endpoint(receiver.url("/a"), failing_since=now())
    for _ in range(5):
        add_event()
    deliver()
    assert len(receiver.at("/a")) == 5
    assert receiver.most_at_once["/a"] == 1


DELIVER = """
from notifications.engine.run import deliver
ready()
print(deliver().delivered)
"""


def test_several_workers_keep_the_cap_between_them_and_send_nothing_twice(
    receiver: Receiver, add_endpoint: AddEndpoint, add_event: AddEvent, processes: Processes
) -> None:
    receiver.answer("/a", Reply(delay_seconds=0.05))
    receiver.answer("/b", Reply(delay_seconds=0.02))
    add_endpoint(receiver.url("/a"))
    add_endpoint(receiver.url("/b"))
    for _ in range(60):
        add_event()
    delivered = [int(line) for line in processes.run(DELIVER, count=3)]
    assert sum(delivered) == 120
    for path in ("/a", "/b"):
        ids = [request.event_id for request in receiver.at(path)]
        assert len(ids) == len(set(ids)) == 60
        assert receiver.most_at_once[path] <= 8


@pytest.mark.servers  # SQLite lets one writer in at a time in any case
def test_an_endpoint_that_another_worker_is_claiming_for_is_passed_over_and_looked_at_again(
    add_endpoint: AddEndpoint, add_event: AddEvent
) -> None:
    held = add_endpoint("https://a.example/1")
    free = add_endpoint("https://a.example/2")
    add_event()
    events_publish()
    room = Room.of(places=64, in_flight=0, frail_in_flight=0)
    with ThreadPoolExecutor(1) as elsewhere:
        with transaction.atomic():
            Endpoint.objects.select_for_update(no_key=True).get(pk=held.pk)
            found = elsewhere.submit(claim, room=room).result(timeout=PATIENCE_SECONDS)
        elsewhere.submit(connections.close_all).result()
    assert [item.endpoint.pk for item in found.claimed] == [free.pk]
    assert found.look_again
    assert [item.endpoint.pk for item in claim(room=room).claimed] == [held.pk]


def test_a_backlog_for_a_dead_endpoint_does_not_delay_another(
    receiver: Receiver,
    add_endpoint: AddEndpoint,
    add_event: AddEvent,
    backlog: FillBacklog,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    hands = MovedHands(monkeypatch)
    dead = add_endpoint("http://127.0.0.1:9/dead")
    backlog(dead, BACKLOG)
    add_endpoint(receiver.url("/fine"))
    add_event()
    with engine_running():
        receiver.wait_for(1, "/fine")
        add_event()
        receiver.wait_for(2, "/fine")
        hands.seconds += running.RUN_SECONDS  # so that the run need not do the rest
    assert Attempt.objects.filter(delivery__endpoint=dead).exists()


def test_a_claim_reads_a_backlog_by_index_only(
    add_endpoint: AddEndpoint, add_event: AddEvent, backlog: FillBacklog
) -> None:
    backlog(add_endpoint("http://127.0.0.1:9/dead"), BACKLOG)
    add_endpoint("https://a.example/1")
    add_event()
    events_publish()
    with connection.cursor() as cursor:
        cursor.execute("ANALYZE")
    with CaptureQueriesContext(connection) as captured:
        claimed = claim(room=Room.of(places=64, in_flight=0, frail_in_flight=0)).claimed
    assert len({item.endpoint.pk for item in claimed}) == 2
    plans = [
        plan_of(query["sql"]) for query in captured if "notifications_delivery" in query["sql"]
    ]
    assert len(plans) >= 5
    for plan in plans:
        assert "Seq Scan on notifications_delivery" not in plan
        # "SCAN … USING INDEX" is the first step of the walk, which ends at one row.
        assert not any(
            "SCAN notifications_delivery" in line and "USING" not in line
            for line in plan.splitlines()
        )
    assert any("delivery_due" in plan for plan in plans)
    assert any("delivery_in_flight" in plan for plan in plans)


def plan_of(sql: str) -> str:
    explain = "EXPLAIN " if connection.vendor == "postgresql" else "EXPLAIN QUERY PLAN "
    with connection.cursor() as cursor:
        cursor.execute(explain + sql)
        return "\n".join(str(row[-1]) for row in cursor.fetchall())


def test_a_claim_looks_at_the_head_of_a_backlog_only(
    add_endpoint: AddEndpoint, backlog: FillBacklog, monkeypatch: pytest.MonkeyPatch
) -> None:
    seen: list[object] = []
    backlog(add_endpoint("http://127.0.0.1:9/dead"), 500)
    heads = claiming.heads_of

    def counted(*args: object) -> object:
        rows = list(heads(*args))  # type: ignore[arg-type]
        seen.extend(rows)
        return rows

    monkeypatch.setattr(claiming, "heads_of", counted)
    claim(room=Room.of(places=64, in_flight=0, frail_in_flight=0))
    assert 0 < len(seen) <= LOOK_AHEAD


def test_an_endpoint_that_is_off_is_not_looked_at(
    add_endpoint: AddEndpoint, add_event: AddEvent
) -> None:
    endpoint = add_endpoint("https://a.example/1")
    add_event()
    events_publish()
    assert due_endpoints(now()) == [endpoint.pk]
    Endpoint.objects.update(state=Endpoint.State.OFF)
    assert due_endpoints(now()) == []
