"""The list of deliveries and the test notice: a visible reason for everything that failed."""

from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from notifications.models import Delivery, Event
from notifications.services import outbox
from tests.notifications.notices import (
    UNKNOWN,
    URL,
    add_webhook,
    delivery_to,
    failing,
    happened,
    tried,
)
from tests.scene import Api, Scene


@pytest.fixture
def api(scene: Scene) -> Api:
    return scene.dealer_api()


@pytest.fixture
def endpoint(api: Api) -> Any:
    return add_webhook(api)


def listed(api: Api, endpoint: Any, query: str = "") -> Any:
    response = api.get(f"/webhook-endpoints/{endpoint['id']}/deliveries{query}")
    assert response.status_code == 200, response.content
    return response.json()["results"]


def test_a_delivery_shows_every_attempt_and_the_next(scene: Scene, api: Api, endpoint: Any) -> None:
    event = happened(dealer=scene.dealer)
    delivery = delivery_to(endpoint["id"], event)
    tried(delivery, status=None, state="waiting")
    tried(delivery, status=503, state="waiting", tries=2)
    (row,) = listed(api, endpoint)
    assert row["event_id"] == str(event.id)
    assert row["event_type"] == "job.arrived"
    assert row["state"] == "waiting"
    assert row["tries"] == 2
    assert row["next_attempt_at"] is not None
    assert row["finished_at"] is None
    silent, busy = row["attempts"]
    assert (silent["status"], silent["error"]) == (None, "No answer within 20 s.")
    assert (busy["status"], busy["answer"], busy["milliseconds"]) == (503, "Back in a moment", 41)


def test_a_finished_delivery_has_no_next_attempt(scene: Scene, api: Api, endpoint: Any) -> None:
    tried(delivery_to(endpoint["id"], happened(dealer=scene.dealer)), status=204, state="delivered")
    (row,) = listed(api, endpoint)
    assert row["next_attempt_at"] is None
    assert row["finished_at"] is not None
    assert row["last_status"] == 204


def test_the_list_is_narrowed_by_state_and_type(scene: Scene, api: Api, endpoint: Any) -> None:
    arrived = delivery_to(endpoint["id"], happened(dealer=scene.dealer))
    held = delivery_to(endpoint["id"], happened(dealer=scene.dealer, type="job.held"))
    tried(held, status=500, state="failed")

    def ids(query: str) -> list[str]:
        return [row["id"] for row in listed(api, endpoint, query)]

    assert ids("") == [str(held.pk), str(arrived.pk)]
    assert ids("?state=failed") == [str(held.pk)]
    assert ids("?state=failed&state=waiting") == [str(held.pk), str(arrived.pk)]
    assert ids("?event_type=job.arrived") == [str(arrived.pk)]
    assert ids("?event_type=job.arrived&state=failed") == []


@pytest.mark.parametrize(
    ("query", "field"), [("?state=lost", "state"), ("?event_type=job.flown", "event_type")]
)
def test_an_unknown_state_or_type_is_refused_by_name(
    api: Api, endpoint: Any, query: str, field: str
) -> None:
    response = api.get(f"/webhook-endpoints/{endpoint['id']}/deliveries{query}")
    assert response.status_code == 400
    assert [entry["field"] for entry in response.json()["errors"]] == [field]


def test_one_endpoint_does_not_show_the_deliveries_of_another(
    scene: Scene, api: Api, endpoint: Any
) -> None:
    second_endpoint = add_webhook(api, url=f"{URL}/2", event_types=["job.held"])
    happened(dealer=scene.dealer)
    assert len(listed(api, endpoint)) == 1
    assert listed(api, second_endpoint) == []


def test_the_queries_do_not_grow_with_the_page(scene: Scene, api: Api, endpoint: Any) -> None:
    def fail(count: int) -> None:
        for _ in range(count):
            delivery = delivery_to(endpoint["id"], happened(dealer=scene.dealer))
            tried(delivery, status=500, state="failed")

    def queries() -> int:
        with CaptureQueriesContext(connection) as seen:
            listed(api, endpoint)
        return len(seen)

    listed(api, endpoint)
    for _ in range(2):
        tried(
            delivery_to(endpoint["id"], happened(dealer=scene.dealer)), status=500, state="failed"
        )
    few = queries()
    for _ in range(8):
        tried(
            delivery_to(endpoint["id"], happened(dealer=scene.dealer)), status=500, state="failed"
        )
    assert len(listed(api, endpoint)) == 10
    assert queries() == few


def test_a_test_notice_goes_to_this_endpoint_only_whatever_it_takes(scene: Scene, api: Api) -> None:
    picky = add_webhook(api, event_types=["job.ready"])
    add_webhook(api, url=f"{URL}/2")
    response = api.post(f"/webhook-endpoints/{picky['id']}/test")
    assert response.status_code == 202
    event = Event.objects.get()
    assert response.json() == {"event_id": str(event.id)}
    happened(dealer=scene.dealer)  # places the test event too
    (row,) = listed(api, picky)
    assert row["event_id"] == str(event.id)
    assert row["event_type"] == "endpoint.tested"
    assert Delivery.objects.filter(event=event).count() == 1


@pytest.mark.parametrize("state", ["off", "disabled"])
def test_no_test_is_promised_while_nothing_is_sent(api: Api, endpoint: Any, state: str) -> None:
    failing(endpoint["id"], state=state)
    response = api.post(f"/webhook-endpoints/{endpoint['id']}/test")
    assert response.status_code == 409
    assert response.json()["state"] == state
    assert "It failed for 120 hours." in response.json()["detail"]
    assert not Event.objects.exists()


def test_a_test_wakes_a_worker_after_the_commit(
    api: Api,
    endpoint: Any,
    monkeypatch: pytest.MonkeyPatch,
    django_capture_on_commit_callbacks: Any,
) -> None:
    woken: list[bool] = []
    monkeypatch.setattr(outbox, "wake_deliverer", lambda: woken.append(True))
    with django_capture_on_commit_callbacks(execute=True):
        api.post(f"/webhook-endpoints/{endpoint['id']}/test")
        assert not woken
    assert woken == [True]


def test_a_missing_delivery_is_not_found(api: Api, endpoint: Any) -> None:
    response = api.post(f"/webhook-endpoints/{endpoint['id']}/deliveries/{UNKNOWN}/replay")
    assert response.status_code == 404
