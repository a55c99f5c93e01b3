"""Publishing: one gap-free order of commits, and the deliveries each event calls for."""

import threading
from uuid import UUID

import pytest
from django.db import connections, transaction
from pytest_django import DjangoAssertNumQueries, Settings

from accounts.models import Organisation
from core.clock import now
from core.ids import new_id
from notifications.models import Delivery, Endpoint, Event, FeedEnd
from notifications.services.outbox import event_append
from notifications.services.publish import events_publish
from tests.notifications.conftest import AddEndpoint, AddEvent
from tests.notifications.processes import Processes

pytestmark = pytest.mark.django_db(transaction=True)


def positions() -> list[int | None]:
    return list(Event.objects.order_by("number").values_list("position", flat=True))


def test_events_get_positions_in_the_order_they_were_written(add_event: AddEvent) -> None:
    for _ in range(3):
        add_event()
    assert events_publish() == 3
    add_event()
    assert events_publish() == 1
    assert positions() == [1, 2, 3, 4]
    assert events_publish() == 0


def test_with_nothing_to_do_it_is_one_look(
    add_event: AddEvent, django_assert_num_queries: DjangoAssertNumQueries
) -> None:
    add_event()
    events_publish()
    with django_assert_num_queries(1):
        assert events_publish() == 0


def test_a_limit_leaves_the_rest_for_the_next_time(add_event: AddEvent) -> None:
    for _ in range(5):
        add_event()
    assert [events_publish(limit=2) for _ in range(4)] == [2, 2, 1, 0]
    assert positions() == [1, 2, 3, 4, 5]


def test_deleting_old_events_never_makes_the_feed_start_again(add_event: AddEvent) -> None:
    for _ in range(3):
        add_event()
    events_publish()
    Delivery.objects.all().delete()
    Event.objects.all().delete()
    add_event()
    events_publish()
    assert positions() == [4]


def test_events_that_an_earlier_release_placed_are_not_run_over(add_event: AddEvent) -> None:
    """It knew no counter, and may still run while the new release does."""
    for _ in range(3):
        add_event()
    events_publish()
    FeedEnd.objects.update(position=1)
    add_event()
    events_publish()
    assert positions() == [1, 2, 3, 4]
    assert FeedEnd.objects.get().position == 4


def test_both_sides_endpoints_get_a_delivery_and_strangers_do_not(
    workshop: Organisation, add_endpoint: AddEndpoint, add_event: AddEvent
) -> None:
    stranger = Organisation.objects.create(kind="dealer", name="Coldwell Road Motors")
    ours = add_endpoint("https://a.example/1")
    theirs = add_endpoint("https://a.example/2", organisation=workshop)
    add_endpoint("https://a.example/3", organisation=stranger)
    event = add_event(workshop_id=workshop.pk)
    events_publish()
    delivery = Delivery.objects.get(endpoint=ours)
    assert set(Delivery.objects.values_list("endpoint", flat=True)) == {ours.pk, theirs.pk}
    assert (delivery.event_id, delivery.subject_id) == (event.number, event.subject_id)
    assert (delivery.state, delivery.tries, delivery.claimed_until) == ("waiting", 0, None)
    assert delivery.next_attempt_at <= now()


@pytest.mark.parametrize(
    "fields",
    [
        {"event_types": ["job.held"]},
        {"state": Endpoint.State.OFF},
        {"state": Endpoint.State.DISABLED},
        {"deleted_at": now()},
    ],
)
def test_endpoints_that_do_not_want_it_get_none(
    fields: dict[str, object], add_endpoint: AddEndpoint, add_event: AddEvent
) -> None:
    add_endpoint("https://a.example/1", **fields)
    wanted = add_endpoint("https://a.example/2", event_types=["job.held", "job.ready"])
    add_event()
    events_publish()
    assert list(Delivery.objects.values_list("endpoint", flat=True)) == [wanted.pk]


def test_a_test_notice_goes_to_its_one_endpoint_whatever_its_filter(
    add_endpoint: AddEndpoint, add_event: AddEvent
) -> None:
    add_endpoint("https://a.example/1")
    endpoint = add_endpoint("https://a.example/2", event_types=["job.held"])
    add_event(
        type="endpoint.tested", data={"endpoint_id": endpoint.pk}, only_endpoint_id=endpoint.pk
    )
    events_publish()
    assert list(Delivery.objects.values_list("endpoint", flat=True)) == [endpoint.pk]


def test_a_delivery_that_is_there_already_is_left_alone(
    add_endpoint: AddEndpoint, add_event: AddEvent
) -> None:
    endpoint, event = add_endpoint("https://a.example/1"), add_event()
    moment = now()
    Delivery.objects.create(
        event=event,
        endpoint=endpoint,
        subject_id=event.subject_id,
        state="delivered",
        next_attempt_at=moment,
        created_at=moment,
    )
    events_publish()
    assert Delivery.objects.get().state == "delivered"


def test_the_first_wait_of_the_schedule_is_kept(
    add_endpoint: AddEndpoint, add_event: AddEvent, settings: Settings
) -> None:
    settings.RETRY_SECONDS = (60, 5)
    add_endpoint("https://a.example/1")
    add_event()
    events_publish()
    assert (Delivery.objects.get().next_attempt_at - now()).total_seconds() > 55


def test_a_rolled_back_publication_leaves_no_gap(
    add_event: AddEvent, monkeypatch: pytest.MonkeyPatch
) -> None:
    add_event()
    with monkeypatch.context() as patched:
        patched.setattr("notifications.services.publish.rows_insert", _fail)
        with pytest.raises(RuntimeError):
            events_publish()
    assert positions() == [None]
    events_publish()
    assert positions() == [1]


def _fail(*_: object, **__: object) -> None:
    raise RuntimeError("the power went")


def append_in_thread(
    dealer_id: UUID, written: threading.Event, may_commit: threading.Event
) -> threading.Thread:
    """Write an event on a connection of its own, and commit it only when told."""

    def work() -> None:
        try:
            with transaction.atomic():
                event_append(
                    type="job.ready",
                    subject_id=new_id(),
                    occurred_at=now(),
                    data={},
                    dealer_id=dealer_id,
                )
                written.set()
                assert may_commit.wait(15)
        finally:
            connections.close_all()

    thread = threading.Thread(target=work)
    thread.start()
    assert written.wait(15)
    return thread


@pytest.mark.servers  # SQLite lets one writer in at a time: none can commit out of order
def test_an_event_that_began_earlier_and_commits_later_comes_later_in_the_feed(
    dealer: Organisation, add_event: AddEvent
) -> None:
    written, may_commit = threading.Event(), threading.Event()
    thread = append_in_thread(dealer.pk, written, may_commit)
    try:
        quick = add_event()  # a higher number, committed first
        assert events_publish() == 1
    finally:
        may_commit.set()
        thread.join(15)
    assert events_publish() == 1
    slow = Event.objects.exclude(pk=quick.pk).get()
    quick.refresh_from_db()
    assert slow.number < quick.number
    assert (quick.position, slow.position) == (1, 2)


PUBLISH = """
from notifications.services.publish import events_publish
ready()
placed = 0
while some := events_publish(limit=3):
    placed += some
print(placed)
"""


def test_processes_publishing_at_once_give_unique_positions_without_a_gap(
    add_event: AddEvent, add_endpoint: AddEndpoint, processes: Processes
) -> None:
    add_endpoint("https://a.example/1")
    for _ in range(90):
        add_event()
    placed = [int(line) for line in processes.run(PUBLISH, count=3)]
    assert sum(placed) == 90
    assert positions() == list(range(1, 91))
    assert Delivery.objects.count() == 90
