"""A day of curing on a real service with its clock moved, from the dressing to the dealer's notice.

A dressing is applied at 08:00 at 12 °C; by noon it is colder, and a reading comes in late. What
must happen is worked out here by hand, by the rate of ASTM F1980 with Q10 = 2.
"""

import json
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
import time_machine

from jobs.demo.client import Answer, Client
from tests.notifications.receiver import Received, Receiver
from tests.reliability.hand_on_clock import HandOnClock
from tests.reliability.service import wait_until
from tests.reliability.world import FORMS, World, founded
from tests.scene import PASSWORD, order

PATH = "/notices"
# A day that nobody's clock shows yet, so that it only ever goes forward.
DAY = (datetime.now(UTC) + timedelta(days=2)).replace(hour=0, minute=0, second=0, microsecond=0)
PEOPLE = """
import django
django.setup()
import json
from accounts.models import Organisation
from accounts.services import key_add, person_add
from tests.scene import PASSWORD, WORKSHOP_SCOPES
workshop = Organisation.objects.get(kind="workshop")
key = key_add(organisation=workshop, name="gauge", scopes=[str(one) for one in WORKSHOP_SCOPES])
for name, role in (("Milo Treen", "manager"), ("Tam Brackley", "valeter")):
    email = f"{name.split()[0].lower()}@fernhollow.example"
    person_add(organisation=workshop, email=email, name=name, role=role, password=PASSWORD)
print(json.dumps(key.secret))
"""


@dataclass(slots=True)
class Day:
    """A service in the middle of its day, with everybody who speaks to it."""

    world: World
    clock: HandOnClock
    dealer: Client
    gauge: Client
    tam: Client
    milo: Client
    secret: str
    receiver: Receiver

    def measure(self, celsius: float, moment: datetime) -> None:
        """Send a reading of the gauge in the workshop, whenever it was taken."""
        body = {"celsius": celsius, "at": moment.isoformat(), "sensor": "bay 1"}
        taken = self.gauge.post("/workshop/climate", body).json
        assert taken["taken"] + taken["marked"] == 1

    def told(self, kind: str, job: Any) -> list[Any]:
        """Return what the dealer's receiver got of a kind about a car, signatures checked."""
        found = {}
        for request in self.receiver.at(PATH):
            body = self._checked(request)
            if body["type"] == kind and body["data"]["job"]["id"] == job["id"]:
                found[request.event_id] = body["data"]
        return list(found.values())

    def _checked(self, request: Received) -> Any:
        # The receiver's clock has to agree with the sender's, and that one was moved.
        sent = datetime.fromtimestamp(int(request.headers["webhook-timestamp"]), UTC)
        with time_machine.travel(sent):
            return request.verify(self.secret)

    def wait_for(self, kind: str, job: Any, count: int) -> list[Any]:
        """Wait until the worker has delivered that many of a kind, and return them in order."""
        wait_until(lambda: len(self.told(kind, job)) >= count, f"{count} of {kind}")
        return self.told(kind, job)

    def move(self, client: Client, job: Any, to: str, **more: Any) -> Answer:
        """Try to move the car as it stands."""
        version = client.get(f"/jobs/{job['id']}").json["version"]
        return client.ask(
            "POST",
            f"/jobs/{job['id']}/moves",
            {"to": to, "version": version, "confirm": True, **more},
        )

    def dressed(self, **changes: Any) -> Any:
        """Order a car, dress its trim so that it ends now, and take it to curing."""
        body = order(operations=["trim_dressing"], **changes)
        job = self.dealer.post("/work-orders", body, status=201).json
        path = f"/jobs/{job['id']}"
        self.tam.post(f"{path}/arrival")
        assert self.move(self.tam, job, "correction").status == 200
        (task,) = self.tam.get(path).json["tasks"]
        for step in ("start", "finish"):
            self.tam.post(f"{path}/tasks/{task['id']}/{step}")
        assert self.move(self.tam, job, "curing").status == 200
        return job

    def history(self, job: Any) -> list[Any]:
        """Return the car's history."""
        return list(self.tam.get(f"/jobs/{job['id']}/history").json["entries"])


def at(hour: int, minute: int = 0) -> datetime:
    """Return a moment of the day."""
    return DAY + timedelta(hours=hour, minutes=minute)


def near(text: str, moment: datetime) -> bool:
    """Return whether what was told is the moment, but for the seconds that the test takes."""
    return abs(datetime.fromisoformat(text) - moment) < timedelta(seconds=90)


@pytest.fixture(params=FORMS)
def day(request: pytest.FixtureRequest, tmp_path: Path, receiver: Receiver) -> Iterator[Day]:
    file = tmp_path / "clock"
    clock = HandOnClock(file)
    settings = {
        "DJANGO_SETTINGS_MODULE": "tests.reliability.moved_clock",
        "TEST_CLOCK_FILE": str(file),
    }
    with founded(request.param, tmp_path, **settings) as world:
        key = json.loads(world.python("-c", PEOPLE))
        clock.set_to(at(8))
        world.start()
        dealer, gauge = world.dealer(), Client(world.url, "The gauge", key)
        endpoint = dealer.post("/webhook-endpoints", {"url": receiver.url(PATH)}, status=201).json
        tam, milo = Client(world.url, "Tam"), Client(world.url, "Milo")
        tam.sign_in("tam@fernhollow.example", PASSWORD)
        milo.sign_in("milo@fernhollow.example", PASSWORD)
        yield Day(world, clock, dealer, gauge, tam, milo, endpoint["secret"], receiver)


def test_a_late_reading_of_the_cold_moves_the_ready_time_and_the_dealer_hears_of_it(
    day: Day,
) -> None:
    day.clock.set_to(at(8))
    day.measure(12.0, at(8))
    job = day.dressed()
    for hour in (9, 10):
        day.clock.set_to(at(hour))
        day.measure(12.0, at(hour))
    # At 12 °C 180 minutes become 180 * 2 ** 0.3 = 221.6.
    first = at(8) + timedelta(minutes=180 * 2**0.3)
    assert near(waits(day, job)["latest"], first)

    # By noon it is colder: 6.5 °C, and so it holds for two hours at least.
    day.clock.set_to(at(11, 30))
    day.measure(6.5, at(11, 30))
    second = at(12, 10)
    wait_until(lambda: near(changed(day, job)["until"], second), "the first change")
    assert changed(day, job)["reason"] == "It was colder than before: 6.5 °C in the workshop."
    assert near(changed(day, job)["was"], first)

    # The reading of half past ten comes in late, and it was colder still.
    day.clock.set_to(at(11, 45))
    day.measure(5.5, at(10, 30))
    third = at(12, 25)
    wait_until(lambda: near(changed(day, job)["until"], third), "the second change")
    change = changed(day, job)
    assert near(change["was"], second)
    assert change["reason"] == "It was colder than before: 6.5 °C in the workshop."
    assert change["headline"] == "What cures or dries on it needs longer than was told."

    # At the time that was told before, it is refused, and allowed after the one told now.
    day.clock.set_to(at(12, 15))
    answer = day.move(day.tam, job, "ready")
    assert (answer.status, answer.json["code"]) == (409, "clock_running")
    assert near(answer.json["until"], third)
    assert not day.told("job.ready", job)
    day.clock.set_to(at(12, 30))
    assert day.move(day.tam, job, "ready").status == 200
    (ready,) = day.wait_for("job.ready", job, 1)
    assert (ready["override"], ready["job"]["stage"]) == (False, "ready")
    moves = [entry for entry in day.history(job) if entry["kind"] == "wait_moved"]
    assert [move["data"]["later"] for move in moves][-2:] == [True, True]
    assert {move["actor"] for move in moves} == {"The service"}


def test_a_managers_override_is_recorded_and_told_to_the_dealer(day: Day) -> None:
    day.clock.set_to(at(8))
    day.measure(12.0, at(8))
    job = day.dressed()
    day.clock.set_to(at(9))
    reason = "The dealer takes it into a heated hall."
    refused = day.move(day.tam, job, "ready", override=True, reason=reason)
    assert refused.status == 403
    assert day.move(day.milo, job, "ready").json["code"] == "clock_running"
    assert day.move(day.milo, job, "ready", override=True, reason=reason).status == 200
    (ready,) = day.wait_for("job.ready", job, 1)
    assert (ready["override"], ready["reason"]) == (True, reason)
    assert day.wait_for("job.stage_changed", job, 3)[-1]["override"] is True
    entry = [entry for entry in day.history(job) if entry["kind"] == "moved"][-1]
    assert (entry["actor"], entry["data"]["override"], entry["reason"]) == (
        "Milo Treen",
        True,
        reason,
    )


def test_by_choice_the_service_makes_it_ready_when_the_clock_ends(day: Day) -> None:
    day.milo.expect(200, "PATCH", "/workshop/climate/setup", {"ready_by_itself": True})
    job = day.dressed()
    day.clock.set_to(at(10, 59))
    assert day.tam.get(f"/jobs/{job['id']}").json["stage"] == "curing"
    day.clock.set_to(at(11, 3))
    (ready,) = day.wait_for("job.ready", job, 1)
    assert ready["reason"] == "All that cured or dried on it is done."
    assert [entry["kind"] for entry in day.history(job)][-2:] == ["cured", "moved"]
    assert day.history(job)[-1]["actor"] == "The service"


def waits(day: Day, job: Any) -> Any:
    """Return between which moments all of it is done."""
    return day.dealer.get(f"/jobs/{job['id']}/waits").json["done_at"]


def changed(day: Day, job: Any) -> Any:
    """Return the newest change of the wait that the dealer was told, or one of nothing."""
    changes = day.told("job.wait_changed", job)
    return changes[-1] if changes else {"until": DAY.isoformat()}
