"""The limit on requests: per caller and minute, told with the time to wait."""

from datetime import UTC, datetime

import pytest
import time_machine
from pytest_django import Settings

from accounts.api.throttling import MinuteCounter
from tests.scene import Scene, person_api

AT = datetime(2027, 3, 1, 9, 30, 15, tzinfo=UTC)


@pytest.fixture
def two_a_minute(settings: Settings) -> None:
    settings.REQUESTS_PER_MINUTE = 2


@pytest.mark.usefixtures("two_a_minute")
def test_the_request_over_the_limit_is_told_when_to_come_back(scene: Scene) -> None:
    with time_machine.travel(AT, tick=False):
        api = scene.dealer_api()
        assert [api.get("/session").status_code for _ in range(3)] == [200, 200, 429]
        response = api.get("/session")
    assert response.headers["Content-Type"] == "application/problem+json"
    assert response.json()["type"] == "urn:shutline:problem:too-many-requests"
    assert response.headers["Retry-After"] == "45"
    assert "45 s" in response.json()["detail"]


@pytest.mark.usefixtures("two_a_minute")
def test_the_next_minute_begins_at_nought(scene: Scene) -> None:
    with time_machine.travel(AT, tick=False) as clock:
        api = scene.dealer_api()
        assert [api.get("/session").status_code for _ in range(3)] == [200, 200, 429]
        clock.shift(45)
        assert api.get("/session").status_code == 200


@pytest.mark.usefixtures("two_a_minute")
def test_callers_are_counted_apart(scene: Scene) -> None:
    with time_machine.travel(AT, tick=False):
        key, second_key, person = (
            scene.dealer_api(),
            scene.dealer_api(),
            person_api(scene.staff),
        )
        assert [key.get("/session").status_code for _ in range(3)] == [200, 200, 429]
        assert second_key.get("/session").status_code == 200
        assert person.get("/session").status_code == 200
        assert person_api(scene.manager).get("/session").status_code == 200


@pytest.mark.usefixtures("two_a_minute")
def test_a_person_has_one_limit_over_all_their_sign_ins(scene: Scene) -> None:
    with time_machine.travel(AT, tick=False):
        first, second = person_api(scene.valeter), person_api(scene.valeter)
        assert first.get("/session").status_code == 200
        assert second.get("/session").status_code == 200
        assert first.get("/session").status_code == 429


def test_counts_are_forgotten_when_the_minute_turns() -> None:
    counter = MinuteCounter()
    with time_machine.travel(AT, tick=False) as clock:
        assert [counter.count("a"), counter.count("a"), counter.count("b")] == [1, 2, 1]
        clock.shift(60)
        assert counter.count("a") == 1
        assert counter._counts == {"a": 1}
