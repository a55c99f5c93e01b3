"""Replay of one delivery and of a range: nothing missed, nothing twice, the same id."""

from datetime import timedelta
from typing import Any

import pytest

from core.clock import now
from notifications.models import Delivery, Endpoint, Event
from notifications.services import replay as replay_service
from tests.notifications.notices import (
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


def replay(api: Api, endpoint: Any, **body: Any) -> Any:
    whole_day = {"from": now() - timedelta(days=1), "to": now() + timedelta(minutes=1)}
    return api.post(f"/webhook-endpoints/{endpoint['id']}/replay", {**whole_day, **body})


def replay_one(api: Api, delivery: Delivery) -> Any:
    path = f"/webhook-endpoints/{delivery.endpoint_id}/deliveries/{delivery.pk}/replay"
    return api.post(path)


def sent(endpoint: Any, event: Event, state: str) -> Delivery:
    delivery = delivery_to(endpoint["id"], event)
    tried(delivery, status=204 if state == "delivered" else 500, state=state, tries=3)
    Delivery.objects.filter(pk=delivery.pk).update(next_attempt_at=now() + timedelta(hours=5))
    return delivery


def is_due_afresh(delivery: Delivery) -> bool:
    delivery.refresh_from_db()
    return (
        delivery.state == Delivery.State.WAITING
        and delivery.tries == 0
        and delivery.next_attempt_at <= now()
        and delivery.finished_at is None
    )


@pytest.mark.parametrize("state", ["delivered", "failed", "stopped", "waiting"])
def test_one_delivery_is_sent_again_whatever_became_of_it(
    scene: Scene, api: Api, endpoint: Any, state: str
) -> None:
    event = happened(dealer=scene.dealer)
    delivery = sent(endpoint, event, state)
    response = replay_one(api, delivery)
    assert response.status_code == 202
    body = response.json()
    assert body["event_id"] == str(event.id)
    assert body["state"] == "waiting"
    assert len(body["attempts"]) == 1
    assert is_due_afresh(delivery)
    assert Event.objects.count() == 1


def test_a_delivery_that_is_being_sent_is_left_to_arrive(
    scene: Scene, api: Api, endpoint: Any
) -> None:
    delivery = delivery_to(endpoint["id"], happened(dealer=scene.dealer))
    lease = now() + timedelta(minutes=1)
    Delivery.objects.filter(pk=delivery.pk).update(tries=2, claimed_until=lease)
    assert replay_one(api, delivery).status_code == 202
    assert replay(api, endpoint).json()["replayed"] == 0
    delivery.refresh_from_db()
    assert (delivery.tries, delivery.claimed_until) == (2, lease)


def test_a_delivery_is_not_found_under_another_endpoint(
    scene: Scene, api: Api, endpoint: Any
) -> None:
    second_endpoint = add_webhook(api, url=f"{URL}/2", event_types=["job.held"])
    delivery = sent(endpoint, happened(dealer=scene.dealer), "failed")
    path = f"/webhook-endpoints/{second_endpoint['id']}/deliveries/{delivery.pk}/replay"
    assert api.post(path).status_code == 404
    delivery.refresh_from_db()
    assert delivery.state == Delivery.State.FAILED


def test_a_range_sends_everything_in_it_again(scene: Scene, api: Api, endpoint: Any) -> None:
    arrived = [
        sent(endpoint, happened(dealer=scene.dealer, minutes_ago=60), state)
        for state in ("delivered", "failed", "stopped")
    ]
    before = sent(endpoint, happened(dealer=scene.dealer, minutes_ago=120), "failed")
    after = sent(endpoint, happened(dealer=scene.dealer, minutes_ago=10), "failed")
    response = replay(
        api,
        endpoint,
        **{"from": now() - timedelta(minutes=90), "to": now() - timedelta(minutes=30)},
    )
    assert response.status_code == 202
    assert response.json()["replayed"] == 3
    assert response.json()["more"] is False
    assert all(is_due_afresh(delivery) for delivery in arrived)
    assert not is_due_afresh(before)
    assert not is_due_afresh(after)


def test_what_happened_while_it_was_off_is_sent(scene: Scene, api: Api, endpoint: Any) -> None:
    path = f"/webhook-endpoints/{endpoint['id']}"
    api.patch(path, {"state": "off"})
    missed = happened(dealer=scene.dealer)
    assert not Delivery.objects.exists()
    api.patch(path, {"state": "on"})
    assert replay(api, endpoint, only_failed=True).json()["replayed"] == 1
    delivery = delivery_to(endpoint["id"], missed)
    assert is_due_afresh(delivery)
    assert delivery.subject_id == missed.subject_id


def test_only_failed_leaves_out_what_arrived_or_is_on_its_way(
    scene: Scene, api: Api, endpoint: Any
) -> None:
    kept = [
        sent(endpoint, happened(dealer=scene.dealer), state) for state in ("delivered", "waiting")
    ]
    lost = [sent(endpoint, happened(dealer=scene.dealer), state) for state in ("failed", "stopped")]
    assert replay(api, endpoint, only_failed=True).json()["replayed"] == 2
    assert all(is_due_afresh(delivery) for delivery in lost)
    assert not any(is_due_afresh(delivery) for delivery in kept)


def test_a_second_replay_of_failures_finds_none(scene: Scene, api: Api, endpoint: Any) -> None:
    sent(endpoint, happened(dealer=scene.dealer), "failed")
    assert replay(api, endpoint, only_failed=True).json()["replayed"] == 1
    assert replay(api, endpoint, only_failed=True).json()["replayed"] == 0


def test_it_sends_only_what_the_endpoint_takes(scene: Scene, api: Api) -> None:
    endpoint = add_webhook(api, event_types=["job.held", "job.ready"])
    wanted = {
        kind: happened(dealer=scene.dealer, type=kind)
        for kind in ("job.arrived", "job.held", "job.ready")
    }
    assert replay(api, endpoint).json()["replayed"] == 2
    assert replay(api, endpoint, event_types=["job.ready"]).json()["replayed"] == 1
    assert not Delivery.objects.filter(event=wanted["job.arrived"]).exists()


def test_urgent_events_come_again_whatever_types_it_takes(scene: Scene, api: Api) -> None:
    endpoint = add_webhook(api, event_types=["job.ready"])
    urgent = happened(dealer=scene.dealer, type="job.held", urgent=True)
    happened(dealer=scene.dealer, type="job.held")
    assert replay(api, endpoint).json()["replayed"] == 1
    assert is_due_afresh(delivery_to(endpoint["id"], urgent))
    assert replay(api, endpoint, event_types=["job.ready"]).json()["replayed"] == 0


def test_a_type_the_endpoint_does_not_take_is_refused_by_name(scene: Scene, api: Api) -> None:
    endpoint = add_webhook(api, event_types=["job.ready"])
    happened(dealer=scene.dealer, type="job.held")
    response = replay(api, endpoint, event_types=["job.ready", "job.held"])
    assert response.status_code == 400
    (error,) = response.json()["errors"]
    assert error["field"] == "event_types"
    assert "job.held" in error["message"]
    assert "job.ready" not in error["message"]
    assert not Delivery.objects.exists()


def test_it_never_sends_another_organisations_events(scene: Scene, api: Api, endpoint: Any) -> None:
    happened(dealer=scene.stranger_dealer, workshop=scene.workshop)
    mine = happened(dealer=scene.dealer, workshop=scene.workshop)
    Delivery.objects.all().delete()
    assert replay(api, endpoint).json()["replayed"] == 1
    assert Delivery.objects.get().event == mine


def test_a_range_leaves_test_notices_out(api: Api, endpoint: Any) -> None:
    api.post(f"/webhook-endpoints/{endpoint['id']}/test")
    assert len(api.get("/events").json()["events"]) == 1
    assert replay(api, endpoint).json()["replayed"] == 0


def test_a_long_range_goes_on_from_its_cursor(
    scene: Scene, api: Api, endpoint: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(replay_service, "MOST_EVENTS", 2)
    lost = [sent(endpoint, happened(dealer=scene.dealer), "failed") for _ in range(5)]
    counts, after, more = [], 0, True
    while more:
        answer = replay(api, endpoint, after=after).json()
        counts.append(answer["replayed"])
        after, more = answer["cursor"], answer["more"]
    assert counts == [2, 2, 1]
    assert all(is_due_afresh(delivery) for delivery in lost)


@pytest.mark.parametrize("state", ["off", "disabled"])
def test_nothing_is_replayed_to_an_endpoint_that_is_not_on(
    scene: Scene, api: Api, endpoint: Any, state: str
) -> None:
    delivery = sent(endpoint, happened(dealer=scene.dealer), "failed")
    failing(endpoint["id"], state=state)
    for response in (replay(api, endpoint), replay_one(api, delivery)):
        assert response.status_code == 409
        assert response.json()["type"] == "urn:shutline:problem:endpoint-not-on"
        assert '"on"' in response.json()["next_step"]
    delivery.refresh_from_db()
    assert delivery.state == Delivery.State.FAILED


@pytest.mark.parametrize(
    ("body", "fields"),
    [
        ({}, {"from", "to"}),
        ({"from": "2027-03-01T09:00:00", "to": "soon"}, {"from", "to"}),
        ({"from": "2027-03-01T09:00:00Z", "to": "2027-03-01T09:00:00Z"}, {"to"}),
        (
            {"from": "2027-03-01T11:00:00+01:00", "to": "2027-03-01T09:30:00Z", "until": 1},
            {"to", "until"},
        ),
        (
            {
                "from": "2027-03-01T09:00:00Z",
                "to": "2027-03-01T10:00:00Z",
                "event_types": ["job.flown"],
                "only_failed": "perhaps",
                "after": -1,
            },
            {"event_types.0", "only_failed", "after"},
        ),
    ],
)
def test_a_bad_range_is_refused_naming_every_field(
    api: Api, endpoint: Any, body: Any, fields: set[str]
) -> None:
    response = api.post(f"/webhook-endpoints/{endpoint['id']}/replay", body)
    assert response.status_code == 400
    assert {entry["field"] for entry in response.json()["errors"]} == fields


def test_a_replay_wakes_a_worker_only_if_there_is_something_to_send(
    scene: Scene,
    api: Api,
    endpoint: Any,
    monkeypatch: pytest.MonkeyPatch,
    django_capture_on_commit_callbacks: Any,
) -> None:
    woken: list[bool] = []
    monkeypatch.setattr(replay_service, "wake_deliverer", lambda: woken.append(True))
    with django_capture_on_commit_callbacks(execute=True):
        replay(api, endpoint)
    assert not woken
    delivery = sent(endpoint, happened(dealer=scene.dealer), "failed")
    with django_capture_on_commit_callbacks(execute=True):
        replay(api, endpoint)
    with django_capture_on_commit_callbacks(execute=True):
        replay_one(api, delivery)
    assert woken == [True, True]


def test_a_repeated_replay_under_one_key_acts_once(scene: Scene, api: Api, endpoint: Any) -> None:
    delivery = sent(endpoint, happened(dealer=scene.dealer), "failed")
    path = f"/webhook-endpoints/{endpoint['id']}/deliveries/{delivery.pk}/replay"
    assert api.post(path, headers={"Idempotency-Key": "k"}).status_code == 202
    Delivery.objects.filter(pk=delivery.pk).update(state=Delivery.State.DELIVERED)
    assert api.post(path, headers={"Idempotency-Key": "k"}).status_code == 202
    delivery.refresh_from_db()
    assert delivery.state == Delivery.State.DELIVERED


def test_the_endpoints_of_others_keep_their_deliveries(
    scene: Scene, api: Api, endpoint: Any
) -> None:
    second_endpoint = add_webhook(api, url=f"{URL}/2")
    event = happened(dealer=scene.dealer)
    untouched = sent(second_endpoint, event, "delivered")
    sent(endpoint, event, "delivered")
    assert replay(api, endpoint).json()["replayed"] == 1
    untouched.refresh_from_db()
    assert untouched.state == Delivery.State.DELIVERED
    assert Endpoint.objects.count() == 2
