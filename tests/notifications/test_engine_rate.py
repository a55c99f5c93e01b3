"""How many deliveries a second one run makes, against a bare receiver in a process of its own."""

import multiprocessing
import socket
import time
from collections.abc import Iterator

import pytest
from pytest_django import Settings

from notifications.engine.run import deliver
from notifications.models import Attempt, Delivery
from tests.notifications.bare_receiver import serve
from tests.notifications.conftest import AddEndpoint, AddEvent

EVENTS = 500
ENDPOINTS = 20
# Common practice, no source: what a national operator would need at the busiest minute, many
# times over. Measured here: see the figure the test prints.
LEAST_A_SECOND = 300


@pytest.fixture
def address() -> Iterator[str]:
    with socket.create_server(("127.0.0.1", 0), backlog=1024) as listening:
        process = multiprocessing.get_context("fork").Process(target=serve, args=[listening])
        process.start()
        yield f"http://127.0.0.1:{listening.getsockname()[1]}"
        process.terminate()
        process.join(10)


@pytest.mark.bench
@pytest.mark.django_db(transaction=True)
def test_it_delivers_hundreds_a_second(
    address: str, add_endpoint: AddEndpoint, add_event: AddEvent, settings: Settings
) -> None:
    settings.DELIVERY_CONCURRENCY = 128
    for number in range(ENDPOINTS):
        add_endpoint(f"{address}/{number}")
    for _ in range(EVENTS):
        add_event()

    began = time.perf_counter()
    report = deliver()
    seconds = time.perf_counter() - began

    count = EVENTS * ENDPOINTS
    assert report.delivered == count
    assert Attempt.objects.count() == count
    assert not Delivery.objects.exclude(state=Delivery.State.DELIVERED).exists()
    print(  # noqa: T201  the figure is what the measurement is for
        f"\n{count} deliveries in {seconds:.1f} s: {count / seconds:.0f} a second"
    )
    assert count / seconds > LEAST_A_SECOND
