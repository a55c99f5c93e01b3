"""A sensor that repeats one value for a day counts as not measured, however its readings come."""

import random
from datetime import timedelta
from typing import Any

import pytest
from pytest_django import DjangoAssertNumQueries

from core.clock import now
from jobs.work.calc.curing.cure import Cure, cure_estimate
from jobs.work.models import ClimateReading
from jobs.work.selectors.air import readings_for_clocks
from tests.api.air import CLIMATE, ago, measured, outcomes, send
from tests.api.steps import done
from tests.scene import Scene

pytestmark = pytest.mark.django_db


def hourly(*values: float, until_hours_ago: float = 1, **changes: Any) -> list[dict[str, Any]]:
    """Return a sensor's readings, an hour apart, the last one so long ago."""
    last = len(values) - 1 + until_hours_ago
    return [
        measured(celsius=value, at=ago(hours=last - index), sensor="bay 2", **changes)
        for index, value in enumerate(values)
    ]


def marks() -> list[str]:
    """Return the marks of all readings in order of time."""
    return list(ClimateReading.objects.order_by("at", "sensor").values_list("mark", flat=True))


def test_a_day_of_one_value_is_marked_from_the_first_repeat_on(scene: Scene) -> None:
    api = scene.workshop_api()
    *before, last = hourly(12.0, *[12.5] * 25)
    send(api, *before)
    assert set(marks()) == {""}  # 23 hours: nothing to say yet
    (line,) = send(api, last)["readings"]
    assert (line["outcome"], line["code"]) == ("marked", "stuck")
    assert "repeated one value" in line["message"]
    assert marks() == ["", "", *["stuck"] * 24]


def test_what_is_stuck_goes_to_the_sums_as_doubtful(scene: Scene) -> None:
    send(scene.workshop_api(), *hourly(12.0, *[12.5] * 25))
    used = readings_for_clocks(scene.workshop.pk, since=now() - timedelta(days=3), until=now())
    assert [(reading.celsius, reading.doubtful) for reading in used] == [
        (12.0, False),
        (12.5, False),
        *[(12.5, True)] * 24,
    ]


@pytest.mark.parametrize(("celsius", "taken"), [(4.0, None), (12.5, 180 * 2**0.25), (17.0, 180)])
def test_of_what_is_stuck_only_the_cold_counts(
    scene: Scene, celsius: float, taken: float | None
) -> None:
    """At 15 °C the dressing takes 180 minutes, the most that is assumed; below 5 °C it halts."""
    send(scene.workshop_api(), *hourly(*[celsius] * 31))
    at = now()
    air = readings_for_clocks(scene.workshop.pk, since=at - timedelta(days=3), until=at)
    found = cure_estimate(Cure(180), air, started_at=at, at=at)
    if taken is None:
        assert (found.latest_at, found.halted) == (None, "too_cold")
    else:
        assert found.latest_at is not None
        assert abs(found.latest_at - at - timedelta(minutes=taken)) <= timedelta(seconds=1)


def test_it_is_shown_with_its_mark_in_words(scene: Scene) -> None:
    api = scene.workshop_api()
    send(api, *hourly(*[12.5] * 25))
    air = done(api.get(CLIMATE + "?hours=48"))
    assert air["readings"][0]["mark_words"] == "the sensor repeats one value"
    assert [(sensor["readings"], sensor["stuck"]) for sensor in air["sensors"]] == [(25, 24)]


def test_when_it_moves_again_it_is_believed_again(scene: Scene) -> None:
    api = scene.workshop_api()
    send(api, *hourly(*[12.5] * 30, until_hours_ago=3))
    answer = send(api, *hourly(12.6, 12.6, until_hours_ago=1))
    assert outcomes(answer) == ["taken", "taken"]
    assert marks()[-2:] == ["", ""]
    assert marks()[1:-2] == ["stuck"] * 29


def test_the_next_repeat_is_marked_at_once(
    scene: Scene, django_assert_num_queries: DjangoAssertNumQueries
) -> None:
    api = scene.workshop_api()
    send(api, *hourly(*[12.5] * 30, until_hours_ago=2))
    (reading,) = hourly(12.5)
    # Two more than for a sensor that moves: a look further back, and the mark.
    with django_assert_num_queries(11):
        assert outcomes(send(api, reading)) == ["marked"]


def test_a_late_reading_that_shows_it_moved_lifts_the_marks(scene: Scene) -> None:
    api = scene.workshop_api()
    begin = hourly(*[12.5] * 30)
    middle = begin.pop(15)
    send(api, *begin)
    assert marks().count("stuck") == 28
    send(api, {**middle, "celsius": 13.0})
    assert marks().count("stuck") == 0


def test_another_sensor_beside_it_is_believed(scene: Scene) -> None:
    api = scene.workshop_api()
    stuck = hourly(*[12.5] * 25)
    sound = [
        {**reading, "sensor": "bay 1", "celsius": 12 + n % 2} for n, reading in enumerate(stuck)
    ]
    send(api, *stuck, *sound)
    by_sensor = ClimateReading.objects.filter(mark="stuck").values_list("sensor", flat=True)
    assert set(by_sensor) == {"bay 2"}


def test_somebody_who_notes_the_same_twice_a_day_is_believed(scene: Scene) -> None:
    noted = [measured(celsius=15, at=ago(hours=12 * n + 1)) for n in reversed(range(20))]
    answer = send(scene.workshop_api(), *noted)
    assert set(outcomes(answer)) == {"taken"}


@pytest.mark.parametrize("seed", range(6))
def test_the_order_in_which_readings_come_does_not_change_what_is_stuck(
    scene: Scene, seed: int
) -> None:
    dice = random.Random(seed)
    values = [12.5] * 27 + [dice.choice([12.5, 13.0]) for _ in range(6)] + [12.5] * 30
    series = hourly(*values)
    send(scene.workshop_api(), *series)
    in_order = stuck_times()
    assert in_order
    ClimateReading.objects.all().delete()

    dice.shuffle(series)
    while series:
        piece = [series.pop() for _ in range(min(dice.randint(1, 9), len(series)))]
        send(scene.workshop_api(), *piece)
    assert stuck_times() == in_order


def stuck_times() -> set[Any]:
    return set(ClimateReading.objects.filter(mark="stuck").values_list("at", flat=True))
