"""A worker that is told to stop begins nothing new; what it was at is not lost, nor sent twice."""

import os
import re
import signal
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.notifications.receiver import Receiver, Reply
from tests.patience import PATIENCE_SECONDS
from tests.reliability.service import wait_until
from tests.reliability.world import FORMS, World, founded, post_batch

PATH = "/notices"
WORD = re.compile(r'"worker": "notices@[^"]*".*"worker_stops"|"worker_stops".*"worker": "notices@')
PLACES = 4  # at once to one endpoint
ORDERS = 30  # two notices each
SETTINGS = {
    "SHUTLINE_ENDPOINT_CONCURRENCY": str(PLACES),
    "SHUTLINE_STOP_SECONDS": "300",  # however slow the machine: nothing here is about the time
    # So long that nobody would look at a notice again by that, if its claim was not given back.
    "SHUTLINE_DELIVERY_LEASE_SECONDS": "3600",
}


@pytest.fixture(params=FORMS)
def world(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[World]:
    with founded(request.param, tmp_path, **SETTINGS) as founded_world:
        founded_world.start()
        yield founded_world


def busy(world: World, receiver: Receiver) -> int:
    """Let notices wait, as many as may be on their way unanswered; return how many there are."""
    receiver.answer(PATH, Reply(held=True))
    dealer = world.dealer()
    dealer.post("/webhook-endpoints", {"url": receiver.url(PATH)}, status=201)
    notices = len(post_batch(dealer, 1, ORDERS))
    receiver.wait_for(PLACES, PATH)
    return notices


def told_to_stop(world: World) -> None:
    """Tell the worker to stop, and wait until all of it knows."""
    service = world.services["notices"]
    service.process.send_signal(signal.SIGTERM)
    wait_until(lambda: WORD.search(world.log("notices")), "word of the end")


def stopped(world: World) -> None:
    """Wait for the end, by itself and without force."""
    assert world.services["notices"].process.wait(PATIENCE_SECONDS) == 0
    assert "program_killed" not in world.log("notices")


def test_what_is_in_flight_ends_and_nothing_is_begun_or_sent_twice(world: World) -> None:
    with Receiver() as receiver:
        notices = busy(world, receiver)
        told_to_stop(world)
        receiver.release()
        stopped(world)
        assert len(receiver.at(PATH)) == PLACES
        world.restart("notices")
        receiver.wait_for(notices, PATH)
        ids = [request.event_id for request in receiver.at(PATH)]
        assert len(set(ids)) == len(ids) == notices


def test_what_does_not_end_is_given_back_and_no_attempt_is_spent_on_it(world: World) -> None:
    with Receiver() as receiver:
        notices = busy(world, receiver)
        told_to_stop(world)
        stopped(world)
        assert len(receiver.at(PATH)) == PLACES
        # By whichever of its processes had them.
        given_back = re.findall(r'"deliveries": (\d+)', world.log("notices"))
        assert sum(map(int, given_back)) == PLACES
        receiver.release()
        world.restart("notices")
        receiver.wait_until(
            lambda: len({request.event_id for request in receiver.at(PATH)}) == notices
        )
        (endpoint,) = world.dealer().get("/webhook-endpoints").json["results"]
        assert endpoint["failing_since"] is None


def test_a_worker_that_was_stopped_alone_comes_back_and_begins_again(world: World) -> None:
    service = world.services["notices"]
    old = world.worker()
    os.kill(old, signal.SIGTERM)
    wait_until(lambda: WORD.search(world.log("notices")), "word of the end")
    wait_until(lambda: service.leader("notices") not in {None, old}, "a new worker")
    with Receiver() as receiver:
        dealer = world.dealer()
        dealer.post("/webhook-endpoints", {"url": receiver.url(PATH)}, status=201)
        notices = len(post_batch(dealer, 1, 1))
        receiver.wait_for(notices, PATH)
        assert len({request.event_id for request in receiver.at(PATH)}) == notices
