"""/healthz, /readyz and /metrics: what an operator and a load balancer are told."""

from datetime import datetime, timedelta
from typing import Any
from uuid import UUID

import pytest
from django.db import OperationalError
from django.db.migrations.executor import MigrationExecutor
from django.test import Client
from pytest_django import DjangoAssertNumQueries, Settings

from core import health
from core.clock import now
from core.ids import new_id
from core.models import Sweep
from notifications import probes
from notifications.models import Delivery, Endpoint, Event
from tests.scene import Scene

pytestmark = pytest.mark.django_db

LATE = timedelta(seconds=60 + probes.TAKEN_UP_WITHIN_SECONDS + 1)  # 60: the default lease


@pytest.fixture
def swept() -> None:
    """Note a sweep of each queue just now."""
    for name in ("deliver_due", "sweep_work"):
        Sweep.objects.create(name=name, last_run_at=now())


@pytest.fixture
def scraper(client: Client, settings: Settings) -> None:
    """Give the client the token for the numbers."""
    settings.METRICS_TOKEN = "drizzle-and-dust"
    client.defaults["HTTP_AUTHORIZATION"] = "Bearer drizzle-and-dust"


@pytest.fixture
def dead_database(monkeypatch: pytest.MonkeyPatch) -> None:
    """Make the database refuse every question, with a reason nobody outside should read."""

    def refuse() -> health.Reading:
        raise OperationalError("connection to db-7.inside refused for user brackley")

    monkeypatch.setitem(health._probes, "database", refuse)


@pytest.fixture
def migrations_unknown(monkeypatch: pytest.MonkeyPatch) -> None:
    """Forget that the migrations were seen to be complete."""
    monkeypatch.setattr(health._probes["migrations"], "up_to_date", False)


def endpoint(scene: Scene, **fields: Any) -> Endpoint:
    return Endpoint.objects.create(
        organisation=scene.dealer, channel="webhook", address="https://hook.example/x", **fields
    )


def event(scene: Scene, subject: UUID, *, recorded_at: datetime, position: int | None) -> Event:
    return Event.objects.create(
        type="job.ready",
        dealer=scene.dealer,
        subject_id=subject,
        occurred_at=recorded_at,
        recorded_at=recorded_at,
        body="{}",
        position=position,
    )


def delivery(
    scene: Scene, to: Endpoint, due_at: datetime, subject: UUID | None = None, **fields: Any
) -> Delivery:
    subject = subject or new_id()
    position = Event.objects.count() + 1
    return Delivery.objects.create(
        event=event(scene, subject, recorded_at=now(), position=position),
        endpoint=to,
        subject_id=subject,
        next_attempt_at=due_at,
        created_at=now(),
        **fields,
    )


def deliveries_good() -> bool:
    return probes.probe_deliveries().good


def test_live_answers_without_asking_the_database(
    client: Client, django_assert_num_queries: DjangoAssertNumQueries
) -> None:
    with django_assert_num_queries(0):
        response = client.get("/healthz")
    assert (response.status_code, response.json()) == (200, {"status": "live"})


@pytest.mark.parametrize("path", ["/healthz", "/readyz", "/metrics"])
@pytest.mark.usefixtures("swept", "scraper")
def test_the_health_addresses_are_only_read_and_never_kept(client: Client, path: str) -> None:
    response = client.post(path)
    assert (response.status_code, response["Allow"]) == (405, "GET, HEAD")
    assert response["Content-Type"] == "application/problem+json"
    assert client.head(path).status_code == 200
    assert client.get(path)["Cache-Control"] == "no-store"


@pytest.mark.parametrize("path", ["/healthz", "/readyz", "/metrics"])
@pytest.mark.usefixtures("swept", "scraper")
def test_the_health_addresses_answer_under_every_allowed_host(
    client: Client, path: str, settings: Any
) -> None:
    settings.ALLOWED_HOSTS = [".shutline.example", "127.0.0.1"]
    for host in ("shutline.example", "cars.shutline.example:8443", "127.0.0.1:8000"):
        assert client.get(path, headers={"Host": host}).status_code == 200


@pytest.mark.usefixtures("swept")
def test_ready_says_what_it_saw(client: Client) -> None:
    response = client.get("/readyz")
    assert response.status_code == 200
    body = response.json()
    assert body["status"] == "ready"
    assert list(body["probes"]) == ["database", "migrations", "sweep", "deliveries"]
    assert all(probe["good"] for probe in body["probes"].values())
    assert body["probes"]["sweep"]["figures"]["last_sweep_age_seconds"] < 5
    assert body["probes"]["deliveries"]["figures"]["oldest_due_delivery_seconds"] == 0


@pytest.mark.usefixtures("swept", "scraper")
def test_ready_asks_four_questions_once_the_migrations_are_known(
    client: Client, django_assert_num_queries: DjangoAssertNumQueries
) -> None:
    client.get("/readyz")
    with django_assert_num_queries(4):
        client.get("/readyz")
    with django_assert_num_queries(4):
        client.get("/metrics")


def test_not_ready_before_the_first_sweep(client: Client) -> None:
    response = client.get("/readyz")
    assert response.status_code == 503
    assert response["Content-Type"] == "application/problem+json"
    assert response["Retry-After"] == "5"
    body = response.json()
    assert body["type"] == "urn:shutline:problem:unavailable"
    assert [error["field"] for error in body["errors"]] == ["sweep"]
    assert "start workers and beat" in body["errors"][0]["message"]


@pytest.mark.usefixtures("swept")
@pytest.mark.parametrize(("dead", "part"), [("deliver_due", "notices"), ("sweep_work", "work")])
def test_not_ready_when_the_workers_of_one_queue_are_gone(
    client: Client, dead: str, part: str
) -> None:
    """Those of the other go on sweeping, and say nothing of it."""
    late = timedelta(seconds=health.SWEEP_GRACE_SECONDS + 5 + 1)  # 5: the default period
    Sweep.objects.filter(name=dead).update(last_run_at=now() - late)
    (error,) = client.get("/readyz").json()["errors"]
    assert error["field"] == "sweep"
    assert f"The last sweep of {part} ran" in error["message"]
    Sweep.objects.filter(name=dead).delete()
    (error,) = client.get("/readyz").json()["errors"]
    assert f"No sweep has run yet of {part}" in error["message"]


@pytest.mark.usefixtures("swept")
def test_not_ready_when_the_last_sweep_is_long_ago(client: Client) -> None:
    late = timedelta(seconds=health.SWEEP_GRACE_SECONDS + 5 + 1)  # 5: the default period
    Sweep.objects.update(last_run_at=now() - late)
    response = client.get("/readyz")
    assert response.status_code == 503
    assert [error["field"] for error in response.json()["errors"]] == ["sweep"]


@pytest.mark.usefixtures("swept")
def test_not_ready_when_a_due_delivery_is_left_lying(client: Client, scene: Scene) -> None:
    delivery(scene, endpoint(scene), now() - LATE)
    response = client.get("/readyz")
    assert response.status_code == 503
    assert [error["field"] for error in response.json()["errors"]] == ["deliveries"]
    figures = response.json()["probes"]["deliveries"]["figures"]
    assert figures["oldest_due_delivery_seconds"] >= LATE.total_seconds()
    assert figures["deliveries_waiting"] == 1


@pytest.mark.usefixtures("swept")
def test_not_ready_when_an_event_is_never_handed_out(client: Client, scene: Scene) -> None:
    event(scene, new_id(), recorded_at=now() - LATE, position=None)
    response = client.get("/readyz")
    assert response.status_code == 503
    assert [error["field"] for error in response.json()["errors"]] == ["deliveries"]


def test_a_delivery_that_is_due_later_is_not_late(scene: Scene) -> None:
    delivery(scene, endpoint(scene), now() + LATE)
    assert deliveries_good()


@pytest.mark.parametrize(
    "fields",
    [
        {"state": Endpoint.State.OFF},
        {"deleted_at": now()},
        {"failing_since": now()},
        {"slowed_until": now() + timedelta(days=1)},
    ],
    ids=["off", "deleted", "failing", "slowed down"],
)
def test_an_endpoint_that_is_left_alone_on_purpose_is_not_late(
    scene: Scene, fields: dict[str, Any]
) -> None:
    delivery(scene, endpoint(scene, **fields), now() - LATE)
    assert deliveries_good()


def test_a_notice_behind_an_earlier_one_on_the_same_subject_is_not_late(scene: Scene) -> None:
    to, subject = endpoint(scene), new_id()
    delivery(scene, to, now() + LATE, subject)
    delivery(scene, to, now() - LATE, subject)
    assert deliveries_good()
    delivery(scene, to, now() - LATE)
    assert not deliveries_good()


def test_the_queue_of_an_endpoint_being_served_is_not_late(scene: Scene) -> None:
    slow, second = endpoint(scene), endpoint(scene)
    delivery(scene, slow, now() - LATE, claimed_until=now() + timedelta(seconds=30))
    delivery(scene, slow, now() - LATE)
    assert deliveries_good()
    delivery(scene, second, now() - LATE, claimed_until=now() - timedelta(seconds=1))
    assert not deliveries_good()


@pytest.mark.usefixtures("swept", "dead_database")
def test_a_silent_database_is_named_and_its_secrets_are_not(client: Client) -> None:
    response = client.get("/readyz")
    assert response.status_code == 503
    body = response.json()
    assert body["errors"][0] == {
        "field": "database",
        "message": "The database does not answer.",
    }
    assert {error["field"] for error in body["errors"]} == set(health._probes)
    for secret in ("db-7.inside", "brackley", "Traceback"):
        assert secret not in response.text


@pytest.mark.usefixtures("swept", "scraper", "dead_database")
def test_metrics_still_answer_when_the_database_does_not(client: Client) -> None:
    response = client.get("/metrics")
    assert response.status_code == 200
    assert 'shutline_probe_good{probe="database"} 0.0' in response.text
    assert "shutline_oldest_due_delivery_seconds" not in response.text


@pytest.mark.usefixtures("swept", "migrations_unknown")
def test_pending_migrations_are_named(client: Client, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(MigrationExecutor, "migration_plan", lambda *_: [("one", False)])
    response = client.get("/readyz")
    assert response.status_code == 503
    assert response.json()["errors"] == [
        {"field": "migrations", "message": "Migrations are pending: run `manage.py migrate`."}
    ]
    monkeypatch.undo()
    assert client.get("/readyz").status_code == 200


@pytest.mark.usefixtures("swept", "scraper")
def test_metrics_hold_the_probes_figures_and_the_requests(client: Client, scene: Scene) -> None:
    delivery(scene, endpoint(scene), now() - timedelta(seconds=40))
    client.get("/healthz")
    response = client.get("/metrics")
    assert response["Content-Type"].startswith("text/plain")
    lines = dict(
        line.rsplit(" ", 1) for line in response.text.splitlines() if not line.startswith("#")
    )
    assert 40 <= float(lines["shutline_oldest_due_delivery_seconds"]) < 60
    assert float(lines["shutline_deliveries_waiting"]) == 1
    assert 0 <= float(lines["shutline_last_sweep_age_seconds"]) < 20
    assert float(lines['shutline_probe_good{probe="deliveries"}']) == 1
    assert float(lines['shutline_requests_total{ended="2xx",view="live"}']) >= 1


@pytest.mark.usefixtures("scraper")
def test_metrics_have_no_sweep_age_before_the_first_sweep(client: Client) -> None:
    text = client.get("/metrics").text
    assert "shutline_last_sweep_age_seconds" not in text
    assert 'shutline_probe_good{probe="sweep"} 0.0' in text
