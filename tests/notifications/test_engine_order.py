"""Order: notices about one subject arrive as they happened, until one has failed three times."""

from datetime import timedelta

import pytest
from pytest_django import Settings

from core.clock import now
from core.ids import new_id
from notifications.engine.claim import ORDER_KEPT_TRIES, claim
from notifications.engine.places import Room
from notifications.engine.run import deliver
from notifications.models import Delivery
from notifications.services.publish import events_publish
from tests.notifications.conftest import AddEndpoint, AddEvent, deliver_until, engine_running
from tests.notifications.receiver import Receiver, Reply

pytestmark = pytest.mark.django_db(transaction=True)


def claim_all() -> list[Delivery]:
    room = Room.of(places=64, in_flight=0, frail_in_flight=0)
    ids = [item.delivery_id for item in claim(room=room).claimed]
    return list(Delivery.objects.filter(pk__in=ids).order_by("event"))


def test_notices_about_one_car_arrive_in_order_and_one_at_a_time(
    receiver: Receiver, add_endpoint: AddEndpoint, add_event: AddEvent
) -> None:
    receiver.answer("/a", Reply(delay_seconds=0.05))
    add_endpoint(receiver.url("/a"))
    subject = new_id()
    ids = [str(add_event(subject).id) for _ in range(6)]
    deliver()
    assert [request.event_id for request in receiver.at("/a")] == ids
    assert receiver.most_at_once["/a"] == 1


def test_notices_about_different_cars_do_not_wait_for_each_other(
    receiver: Receiver, add_endpoint: AddEndpoint, add_event: AddEvent
) -> None:
    receiver.answer("/a", Reply(held=True))
    add_endpoint(receiver.url("/a"))
    for _ in range(4):
        add_event()
    with engine_running():
        receiver.wait_for(4, "/a")
        receiver.release()
    assert receiver.most_at_once["/a"] == 4


def test_order_is_kept_across_a_failure_and_other_cars_go_on(
    receiver: Receiver, add_endpoint: AddEndpoint, add_event: AddEvent, settings: Settings
) -> None:
    # Long enough that the other car's notice is not held up by a retry that falls due meanwhile.
    settings.RETRY_SECONDS = (0, 0.5, 0.5, 0.5)
    receiver.answer("/a", Reply(500), Reply(500), Reply(200))
    add_endpoint(receiver.url("/a"))
    subject = new_id()
    first, second = (str(add_event(subject).id) for _ in range(2))
    unrelated = str(add_event().id)
    deliver_until(lambda: Delivery.objects.filter(state="delivered").count() == 3)
    arrived = [request.event_id for request in receiver.at("/a")]
    assert arrived.index(unrelated) < arrived.index(second)
    about_the_car = [event_id for event_id in arrived if event_id != unrelated]
    assert about_the_car == [first] * (len(about_the_car) - 1) + [second]


def test_after_three_failures_later_notices_go_past_it(
    receiver: Receiver, add_endpoint: AddEndpoint, add_event: AddEvent, settings: Settings
) -> None:
    settings.RETRY_SECONDS = (0, 0.01, 0.01, 600, 600)
    receiver.answer("/a", Reply(500), Reply(500), Reply(500), Reply(200))
    add_endpoint(receiver.url("/a"))
    subject = new_id()
    first, second = (str(add_event(subject).id) for _ in range(2))
    deliver_until(lambda: len(receiver.at("/a")) == 4)
    deliver_until(lambda: Delivery.objects.filter(state="delivered").exists())
    assert [request.event_id for request in receiver.at("/a")] == [first, first, first, second]
    assert Delivery.objects.get(event__id=first).tries == ORDER_KEPT_TRIES
    assert Delivery.objects.get(event__id=first).state == "waiting"


def test_one_that_waits_for_an_earlier_one_becomes_due_with_it_so_nobody_looks_at_it_meanwhile(
    add_endpoint: AddEndpoint, add_event: AddEvent
) -> None:
    add_endpoint("https://a.example/1")
    subject = new_id()
    numbers = [add_event(subject).number for _ in range(3)]
    events_publish()
    retry_at = now() + timedelta(minutes=5)
    Delivery.objects.filter(event=numbers[0]).update(tries=1, next_attempt_at=retry_at)
    assert claim_all() == []
    assert set(Delivery.objects.values_list("next_attempt_at", flat=True)) == {retry_at}


def test_a_due_one_is_found_behind_any_number_that_wait_for_it(
    add_endpoint: AddEndpoint, add_event: AddEvent
) -> None:
    endpoint = add_endpoint("https://a.example/1")
    subject = new_id()
    first = add_event(subject)
    for _ in range(100):
        add_event(subject)
    events_publish()
    # It failed once, so that it is due again after all those that wait for it.
    later = now() - timedelta(milliseconds=1)
    earlier = later - timedelta(minutes=1)
    Delivery.objects.update(next_attempt_at=earlier)
    Delivery.objects.filter(event=first).update(tries=1, next_attempt_at=later)
    claimed: list[Delivery] = []
    for _ in range(20):
        claimed = claimed or claim_all()
    assert [delivery.event_id for delivery in claimed] == [first.number]
    assert endpoint.deliveries.filter(claimed_until__isnull=False).count() == 1


def test_the_same_car_at_another_endpoint_does_not_wait(
    receiver: Receiver, add_endpoint: AddEndpoint, add_event: AddEvent
) -> None:
    receiver.answer("/broken", Reply(500))
    add_endpoint(receiver.url("/broken"))
    add_endpoint(receiver.url("/fine"))
    subject = new_id()
    for _ in range(3):
        add_event(subject)
    deliver()
    assert len(receiver.at("/fine")) == 3
    assert len(receiver.at("/broken")) == 1
