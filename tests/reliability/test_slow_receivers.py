"""Receivers that do not answer keep no sweep from being done, of either queue."""

import json
import urllib.request
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.notifications.receiver import Receiver, Reply
from tests.patience import PATIENCE_SECONDS
from tests.reliability.service import wait_until
from tests.reliability.world import FORMS, World, founded, post_batch

PLACES = [f"/dealer-{number}" for number in range(12)]
ORDERS = 5
# Beside the ones that it does itself.
PROCESSES = {"notices": 2, "work": 1}
SETTINGS = {
    "SHUTLINE_NOTICES_PROCESSES": str(PROCESSES["notices"]),
    "SHUTLINE_WORK_PROCESSES": str(PROCESSES["work"]),
    # Tried again at once, so that a run of deliveries is never without something that it waits for.
    "SHUTLINE_RETRY_SECONDS": ",".join(["0"] * 100),
    "DJANGO_SETTINGS_MODULE": "tests.reliability.endless_runs.settings",
}
# Sweeps that come at least twice a minute, of either queue.
SWEEPS = {"deliver_due", "sweep_work", "settle_clocks", "lapse_requests", "take_orders"}


@pytest.fixture(params=FORMS)
def world(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[World]:
    with founded(request.param, tmp_path, **SETTINGS) as founded_world:
        founded_world.start()
        yield founded_world


def last_done(world: World) -> dict[str, float]:
    """Return how many seconds ago each sweep did its work."""
    url = f"{world.url}/readyz"
    with urllib.request.urlopen(url, timeout=PATIENCE_SECONDS) as answer:  # noqa: S310  always http
        probes = json.load(answer)["probes"]
    ages: dict[str, float] = probes["sweep"]["by_name"]["sweep_age_seconds"]
    return ages


def swept_again(world: World, earlier: dict[str, float]) -> set[str]:
    """Return the sweeps that did their work after `earlier` was read: they grew younger."""
    now = last_done(world)
    return {name for name in SWEEPS if name in now and now[name] < earlier.get(name, float("inf"))}


def test_sweeps_are_done_while_a_dozen_receivers_hold_their_answers(world: World) -> None:
    for part, processes in PROCESSES.items():
        leader = world.services[part].leader(part)
        assert leader
        wait_until(
            lambda leader=leader, part=part, processes=processes: (  # type: ignore[misc]
                len(world.services[part].group(leader)) == 1 + processes
            ),
            f"{processes} processes of {part} beside the first",
        )
    with Receiver() as receiver:
        dealer = world.dealer()
        for place in PLACES:
            receiver.answer(place, Reply(held=True))
            dealer.post("/webhook-endpoints", {"url": receiver.url(place)}, status=201)
        post_batch(dealer, 1, ORDERS)
        for place in PLACES:
            receiver.wait_for(1, place)
        earlier = last_done(world)
        done: set[str] = set()

        def all_swept() -> bool:
            done.update(swept_again(world, earlier))
            return done == SWEEPS

        wait_until(all_swept, "every sweep again")
        receiver.release()
