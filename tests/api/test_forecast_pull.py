"""Forecasts fetched from a real source: whatever it answers, the last good one stays."""

import json
from collections.abc import Iterator
from datetime import timedelta
from typing import Any

import pytest
from pytest_django import Settings

from core.celery import app
from core.clock import now
from core.models import Sweep
from core.outbound import fetch, pull
from core.outbound.pull import fetch_due
from core.outbound.sources import Fetched, Wanted
from core.tasks import fetch_sources
from jobs.work.models import ClimateSetup, Forecast
from jobs.work.selectors.air import forecasts_due
from jobs.work.services.air import forecast_pull
from jobs.work.services.air.forecast_pull import forecast_keep
from jobs.work.services.air.forecasts import forecast_take
from tests.api.air import CLIMATE, SETUP, foretold
from tests.api.steps import at_once, done
from tests.notifications.receiver import Receiver, Reply
from tests.scene import Scene, make_scene, person_api

pytestmark = pytest.mark.django_db(transaction=True)
JSON = {"Content-Type": "application/json"}


@pytest.fixture
def source() -> Iterator[Receiver]:
    with Receiver() as receiver:
        yield receiver


@pytest.fixture
def scene(transactional_db: None) -> Scene:
    del transactional_db
    return make_scene()


def good(*celsius: float) -> Reply:
    """Return a right answer."""
    return Reply(200, json.dumps(foretold(*celsius)).encode(), JSON)


def set_up(scene: Scene, source: Receiver, *replies: Reply) -> None:
    """Set a source for a workshop's forecast that answers so."""
    source.answer("/a", *replies)
    done(person_api(scene.owner).patch(SETUP, {"forecast_url": source.url("/a")}))


def due_again() -> None:
    """Move on to the time of the next try."""
    ClimateSetup.objects.exclude(forecast_url="").update(forecast_next_at=now())


def setup() -> ClimateSetup:
    return ClimateSetup.objects.get(forecast_next_at__isnull=False)


def minutes_until_next() -> float:
    next_at = setup().forecast_next_at
    assert next_at is not None
    return (next_at - now()).total_seconds() / 60


def test_a_good_answer_is_taken_and_fetched_again_in_an_hour(
    scene: Scene, source: Receiver
) -> None:
    set_up(scene, source, good(4, 5))
    fetch_sources()
    forecast = Forecast.objects.get()
    assert (forecast.workshop_id, forecast.way) == (scene.workshop.pk, "pulled")
    assert [hour["celsius"] for hour in forecast.hours] == [4, 5]
    assert setup().forecast_problem == ""
    assert 59 <= minutes_until_next() <= 73
    assert Sweep.objects.filter(name="fetch_sources").exists()
    fetch_sources()
    assert len(source.at("/a")) == 1  # not due


NONSENSE: dict[str, tuple[Reply, str]] = {
    "no JSON": (Reply(200, b"sunny", JSON), "not JSON"),
    "a page": (Reply(200, b"<html></html>", {"Content-Type": "text/html"}), "text/html"),
    "other JSON": (Reply(200, b'{"weather": "fine"}', JSON), "something else than a forecast"),
    "a list": (Reply(200, b"[]", JSON), "something else than a forecast"),
    "implausible": (good(5, 99), "hours.1.celsius"),
    "huge": (Reply(200, b"[" * 300_000, JSON), "larger than 256 KiB"),
    "a fault": (Reply(500, b"", JSON), "answered 500"),
    "elsewhere": (Reply(302, b"", {"Location": "/b"}), "redirects"),
    "slow": (Reply(200, b"{}", JSON, delay_seconds=4), "within 0.3 seconds"),
    "endless": (Reply(200, b" ", JSON, endless=True, pause_seconds=0.02), "within 0.3 seconds"),
}


@pytest.mark.parametrize("kind", NONSENSE)
def test_after_nonsense_the_last_good_forecast_stays_with_its_age(
    scene: Scene, source: Receiver, kind: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    reply, says = NONSENSE[kind]
    set_up(scene, source, good(4, 5), reply)
    fetch_due()
    before = Forecast.objects.get()
    due_again()
    if "seconds" in says:
        impatient(monkeypatch)
    fetch_due()
    after = Forecast.objects.get()
    assert (after.hours, after.received_at) == (before.hours, before.received_at)
    assert says in setup().forecast_problem
    assert 9 <= minutes_until_next() <= 13
    air = done(scene.workshop_api().get(CLIMATE))
    assert air["forecast"]["age_minutes"] >= 60
    assert air["fetching"]["problem"] == setup().forecast_problem
    assert source.url("/a") not in json.dumps(air)


def impatient(monkeypatch: pytest.MonkeyPatch) -> None:
    """Wait for a third of a second only, as the code does for ten."""

    def fetch_soon(urls: list[str]) -> list[Fetched]:
        return fetch.fetch_all(urls, seconds=0.3)

    monkeypatch.setattr(pull, "fetch_all", fetch_soon)


def test_a_source_that_is_gone_or_inside_leaves_the_last_good_one(
    scene: Scene, source: Receiver, settings: Settings
) -> None:
    set_up(scene, source, good(4, 5))
    fetch_due()
    due_again()
    settings.OPEN_NETWORKS = ()
    fetch_due()
    assert "not allowed" in setup().forecast_problem
    settings.OPEN_NETWORKS = ("127.0.0.0/8",)
    ClimateSetup.objects.update(forecast_url="http://127.0.0.1:9/a")
    due_again()
    fetch_due()
    assert setup().forecast_problem == "The connection was refused."
    assert [hour["celsius"] for hour in Forecast.objects.get().hours] == [4, 5]
    assert len(source.at("/a")) == 1


def test_when_it_is_well_again_the_problem_is_gone(scene: Scene, source: Receiver) -> None:
    set_up(scene, source, Reply(500), good(4))
    fetch_due()
    assert setup().forecast_problem
    due_again()
    fetch_due()
    assert setup().forecast_problem == ""
    assert Forecast.objects.count() == 1


def test_one_workshops_source_costs_another_nothing(scene: Scene, source: Receiver) -> None:
    set_up(scene, source, Reply(500))
    source.answer("/b", good(8))
    moment = now()
    ClimateSetup.objects.create(
        workshop=scene.stranger_workshop,
        forecast_url=source.url("/b"),
        forecast_next_at=moment,
    )
    fetch_due()
    assert Forecast.objects.get().workshop_id == scene.stranger_workshop.pk


def test_two_workers_fetch_it_once(scene: Scene, source: Receiver) -> None:
    set_up(scene, source, good(4))
    at_once(fetch_due, fetch_due, fetch_due)
    assert len(source.at("/a")) == 1
    assert setup().forecast_problem == ""


def test_a_run_that_found_it_due_at_the_same_moment_leaves_it(
    scene: Scene, source: Receiver, monkeypatch: pytest.MonkeyPatch
) -> None:
    set_up(scene, source, good(4))
    found = forecasts_due(now(), limit=5)
    fetch_due()
    monkeypatch.setattr(forecast_pull, "forecasts_due", lambda *_, **__: found)
    fetch_due()
    assert len(found) == len(source.at("/a")) == 1


def test_a_worker_that_dies_while_fetching_leaves_it_to_the_next(
    scene: Scene, source: Receiver, monkeypatch: pytest.MonkeyPatch
) -> None:
    set_up(scene, source, good(4))

    def die(_: Any) -> Any:
        raise SystemExit

    with monkeypatch.context() as patch:
        patch.setattr(pull, "fetch_all", die)
        with pytest.raises(SystemExit):
            fetch_due()
    assert 4 <= minutes_until_next() <= 5
    due_again()
    fetch_due()
    assert Forecast.objects.count() == 1


def test_nothing_is_held_in_the_database_while_fetching(
    scene: Scene, source: Receiver, monkeypatch: pytest.MonkeyPatch
) -> None:
    from django.db import connection  # noqa: PLC0415

    set_up(scene, source, good(4))
    seen: list[bool] = []

    def look(urls: Any) -> list[Fetched]:
        seen.append(connection.in_atomic_block)
        return [Fetched(error="It was night.") for _ in urls]

    monkeypatch.setattr(pull, "fetch_all", look)
    fetch_due()
    assert seen == [False]
    assert setup().forecast_problem == "It was night."


def test_what_comes_from_a_url_that_was_replaced_meanwhile_is_left(
    scene: Scene, source: Receiver
) -> None:
    set_up(scene, source, good(4))
    forecast_keep(Wanted(scene.workshop.pk, source.url("/old")), Fetched(foretold(9)))
    forecast_keep(Wanted(scene.workshop.pk, source.url("/old")), Fetched(error="No."))
    assert not Forecast.objects.exists()
    assert setup().forecast_problem == ""


def test_a_source_that_quotes_what_no_database_keeps_is_told_all_the_same(
    scene: Scene, source: Receiver
) -> None:
    set_up(scene, source, Reply(200, rb'{"ho\u0000urs": []}', JSON))
    fetch_due()
    assert "something else than a forecast" in setup().forecast_problem
    assert 9 <= minutes_until_next() <= 13


def test_a_fault_of_ours_with_one_source_leaves_the_others_alone(
    scene: Scene, source: Receiver, monkeypatch: pytest.MonkeyPatch
) -> None:
    set_up(scene, source, good(4))
    source.answer("/b", good(8))
    later = now()
    ClimateSetup.objects.create(
        workshop=scene.stranger_workshop, forecast_url=source.url("/b"), forecast_next_at=later
    )

    def fail_first(**arguments: Any) -> Any:
        if arguments["workshop_id"] == scene.workshop.pk:
            raise RuntimeError("unforeseen")
        return forecast_take(**arguments)

    monkeypatch.setattr(forecast_pull, "forecast_take", fail_first)
    fetch_due()
    assert Forecast.objects.get().workshop_id == scene.stranger_workshop.pk


def test_a_long_story_is_cut_to_its_place(scene: Scene, source: Receiver) -> None:
    set_up(scene, source, good(4))
    forecast_keep(Wanted(scene.workshop.pk, source.url("/a")), Fetched(error="x" * 500))
    assert len(setup().forecast_problem) == 300


def test_the_beat_looks_every_minute() -> None:
    entry = app.conf.beat_schedule["fetch-sources"]
    assert (entry["task"], entry["schedule"]) == (fetch_sources.name, 60.0)
    assert timedelta(seconds=entry["options"]["expires"]) <= timedelta(minutes=1)
