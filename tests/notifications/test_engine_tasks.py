"""The tasks: thin, quick when nothing is due, and visible when beat asked."""

import pytest
from pytest_django import DjangoAssertNumQueries

from core.models import Sweep
from notifications import tasks
from notifications.engine.run import RunReport
from notifications.tasks import deliver_due, review_endpoints
from tests.notifications.conftest import AddEndpoint, AddEvent
from tests.notifications.receiver import Receiver

pytestmark = pytest.mark.django_db(transaction=True)


def test_a_wake_up_with_nothing_due_is_two_looks(
    django_assert_num_queries: DjangoAssertNumQueries, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(tasks, "deliver", _must_not_run)
    with django_assert_num_queries(2):
        deliver_due()


def _must_not_run() -> RunReport:
    raise AssertionError("the engine was started for nothing")


def test_a_sweep_is_written_down_and_a_wake_up_is_not() -> None:
    deliver_due()
    assert not Sweep.objects.exists()
    deliver_due(sweep=True)
    first = Sweep.objects.get(name="deliver_due").last_run_at
    deliver_due(sweep=True)
    assert Sweep.objects.get(name="deliver_due").last_run_at > first


def test_the_review_is_written_down() -> None:
    review_endpoints()
    assert Sweep.objects.filter(name="review_endpoints").exists()


def test_the_sweep_delivers_what_a_lost_wake_up_left(
    receiver: Receiver, add_endpoint: AddEndpoint, add_event: AddEvent
) -> None:
    add_endpoint(receiver.url("/a"))
    add_event()
    deliver_due(sweep=True)
    assert len(receiver.at("/a")) == 1


@pytest.mark.parametrize("time_is_up", [True, False])
def test_a_run_that_ended_before_the_work_did_asks_for_another(
    time_is_up: bool,  # noqa: FBT001  a parameter of pytest
    add_event: AddEvent,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    woken = []
    monkeypatch.setattr(tasks, "deliver", lambda: RunReport(time_is_up=time_is_up))
    monkeypatch.setattr(tasks, "wake_deliverer", lambda: woken.append(1))
    add_event()
    deliver_due()
    assert bool(woken) is time_is_up
