"""/healthz, /readyz and /metrics: what an operator and a load balancer are told."""

import socket
import threading
from contextlib import suppress
from datetime import datetime, timedelta
from pathlib import Path
from types import SimpleNamespace
from typing import Any
from uuid import UUID

import pytest
from celery import current_app
from django.db import OperationalError, connection
from django.db.migrations.recorder import MigrationRecorder
from django.test import Client
from kombu import Connection
from pytest_django import DjangoAssertNumQueries, Settings

from core import health
from core.clock import now
from core.ids import new_id
from core.models import Sweep
from core.periodic import SCHEDULE
from core.sweeps import GRACE_SECONDS, sweep_ages
from core.sweeps import swept as swept_by
from notifications import probes
from notifications.models import Delivery, Endpoint, Event
from tests.scene import Scene

pytestmark = pytest.mark.django_db

QUESTIONS = 12
WORST = 2  # for the worst endpoints
LATE = timedelta(seconds=60 + probes.TAKEN_UP_WITHIN_SECONDS + 1)  # 60: the default lease


SWEEPS = {entry["task"].rpartition(".")[2]: float(entry["schedule"]) for entry in SCHEDULE.values()}


@pytest.fixture
def swept() -> None:
    """Note every sweep just now."""
    for name in SWEEPS:
        Sweep.objects.create(name=name, last_run_at=now(), first_run_at=now())


def did_its_work(name: str, ago: timedelta) -> None:
    """Note that a sweep did its work last so long ago."""
    Sweep.objects.filter(name=name).update(last_run_at=now() - ago)


def too_long_for(name: str) -> timedelta:
    """Return an age that a sweep must not have."""
    return timedelta(seconds=SWEEPS[name] + GRACE_SECONDS + 1)


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


class RefusingRedis:
    """A server that speaks Redis and knows no password; gives its URL."""

    def __enter__(self) -> str:
        self._server = socket.create_server(("127.0.0.1", 0))
        threading.Thread(target=self._refuse, daemon=True).start()
        return f"redis://:wrong@127.0.0.1:{self._server.getsockname()[1]}/0"

    def _refuse(self) -> None:
        with suppress(OSError):  # closed at the end
            while True:
                link, _ = self._server.accept()
                with link:
                    while link.recv(4096):
                        link.sendall(b"-WRONGPASS invalid username-password pair\r\n" * 2)

    def __exit__(self, *_: object) -> None:
        self._server.close()


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
    assert list(body["probes"]) == [
        *("database", "migrations", "sweep", "broker", "disk", "keys", "deliveries", "endpoints")
    ]
    assert all(probe["good"] for probe in body["probes"].values())
    assert body["probes"]["sweep"]["figures"]["last_sweep_age_seconds"] < 5
    assert body["probes"]["deliveries"]["figures"]["oldest_due_delivery_seconds"] == 0


@pytest.mark.usefixtures("swept", "scraper")
def test_ready_asks_the_same_few_questions_whatever_waits(
    client: Client, scene: Scene, django_assert_num_queries: DjangoAssertNumQueries
) -> None:
    to = endpoint(scene)
    for count in (1, 30):
        for _ in range(count):
            delivery(scene, to, now())
        client.get("/readyz")
        for path, questions in (("/readyz", QUESTIONS), ("/metrics", QUESTIONS + WORST)):
            with django_assert_num_queries(questions):
                client.get(path)


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
@pytest.mark.parametrize("part", ["notices", "work"])
def test_not_ready_before_each_queue_has_workers(client: Client, part: str) -> None:
    """Those of the other go on sweeping, and say nothing of it."""
    Sweep.objects.filter(
        name__in=[age.name for age in sweep_ages(now()) if age.part == part]
    ).delete()
    (error,) = client.get("/readyz").json()["errors"]
    assert error["message"] == f"No sweep has run yet of {part}: start workers and beat."


@pytest.mark.usefixtures("swept")
@pytest.mark.parametrize("name", SWEEPS)
def test_not_ready_when_one_sweep_has_not_done_its_work_for_long(client: Client, name: str) -> None:
    """Whatever the others do: green by the newest of all hid that."""
    did_its_work(name, too_long_for(name) - timedelta(seconds=60))
    assert client.get("/readyz").status_code == 200
    did_its_work(name, too_long_for(name))
    response = client.get("/readyz")
    assert response.status_code == 503
    (error,) = response.json()["errors"]
    assert error["field"] == "sweep"
    assert error["message"].startswith(f"{name} of ")
    assert "s is the limit. Look at beat" in error["message"]


@pytest.mark.usefixtures("swept")
def test_a_sweep_that_never_ran_is_missed_from_when_its_turn_is_over(client: Client) -> None:
    Sweep.objects.filter(name="fill_flow").delete()
    assert client.get("/readyz").status_code == 200
    Sweep.objects.update(first_run_at=now() - too_long_for("fill_flow"))
    (error,) = client.get("/readyz").json()["errors"]
    assert error["message"].startswith("fill_flow of work did its work never")


def test_a_sweep_is_noted_when_its_work_is_done_and_not_when_it_fails() -> None:
    with pytest.raises(ZeroDivisionError), swept_by("fill_flow"):
        raise ZeroDivisionError
    assert not Sweep.objects.exists()
    with swept_by("fill_flow"):
        assert not Sweep.objects.exists()
    first = Sweep.objects.get()
    with swept_by("fill_flow"):
        pass
    again = Sweep.objects.get()
    assert again.first_run_at == first.first_run_at == first.last_run_at
    assert again.last_run_at > first.last_run_at


@pytest.mark.usefixtures("swept")
def test_not_ready_when_the_queue_does_not_answer(
    client: Client, monkeypatch: pytest.MonkeyPatch
) -> None:
    with socket.create_server(("127.0.0.1", 0)) as probe:
        place = f"redis://127.0.0.1:{probe.getsockname()[1]}/0"  # nobody listens there any more
    monkeypatch.setattr(current_app, "connection_for_write", lambda: Connection(place))
    (error,) = client.get("/readyz").json()["errors"]
    assert error == {
        "field": "broker", "message": "The queue does not answer: look at the broker.",
    }  # fmt: skip


@pytest.mark.usefixtures("swept")
def test_not_ready_when_the_disk_is_nearly_full(
    client: Client, monkeypatch: pytest.MonkeyPatch
) -> None:
    free = health.LEAST_FREE_BYTES - 1
    monkeypatch.setattr(health, "disk_usage", lambda _folder: SimpleNamespace(free=free))
    (error,) = client.get("/readyz").json()["errors"]
    assert error == {
        "field": "disk", "message": "199 MB are free in the data folder; 200 MB is the least.",
    }  # fmt: skip


@pytest.mark.usefixtures("swept")
def test_a_data_folder_that_nobody_wrote_to_yet_is_no_fault(
    client: Client, settings: Settings, tmp_path: Path
) -> None:
    settings.DATA_DIR = tmp_path / "not" / "made"
    reading = client.get("/readyz").json()["probes"]["disk"]
    assert reading["figures"]["disk_free_bytes"] > 0


@pytest.mark.usefixtures("swept")
def test_a_wrong_password_for_the_queue_is_said_and_no_fault_of_ours(
    client: Client, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Redis refuses with an error of its own, neither kombu's nor the system's."""
    with RefusingRedis() as place:
        monkeypatch.setattr(current_app, "connection_for_write", lambda: Connection(place))
        (error,) = client.get("/readyz").json()["errors"]
    assert error["field"] == "broker"


def test_nearly_all_endpoints_failing_is_ours_unless_they_are_of_one_dealer(scene: Scene) -> None:
    for _ in range(30):
        endpoint(scene, failing_since=now())
    alone = probes.probe_endpoints()
    assert (alone.good, alone.says) == (True, "30 of 30 endpoints fail.")
    owners = (scene.workshop, scene.stranger_dealer)
    for owner in owners:
        Endpoint.objects.create(
            organisation=owner, channel="webhook", address="https://hook.example/x",
            failing_since=now(),
        )  # fmt: skip
    several = probes.probe_endpoints()
    assert not several.good
    assert several.says.startswith("32 of 32 endpoints fail. They are of several organisations")
    for _ in range(10):
        endpoint(scene)
    assert probes.probe_endpoints().good
    assert probes.probe_endpoints().figures["endpoints_failing_share"] == pytest.approx(32 / 42)


def test_no_more_waiting_notices_are_counted_than_say_enough(
    scene: Scene, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(probes, "MOST_COUNTED", 3)
    for _ in range(5):
        delivery(scene, endpoint(scene), now())
    assert probes.probe_deliveries().figures["deliveries_waiting"] == 3


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


@pytest.mark.usefixtures("swept")
def test_a_schema_that_was_changed_under_it_is_named(client: Client) -> None:
    assert client.get("/readyz").status_code == 200
    recorder = MigrationRecorder(connection)
    recorder.record_unapplied("core", "0002_sweeps_and_key_proof")
    response = client.get("/readyz")
    assert response.status_code == 503
    assert response.json()["errors"] == [
        {"field": "migrations", "message": "Migrations are pending: run `manage.py migrate`."}
    ]
    recorder.record_applied("core", "0002_sweeps_and_key_proof")
    recorder.record_applied("core", "9999_of_a_later_release")
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
