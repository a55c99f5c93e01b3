"""Feeds and replays at the edge of what is kept: 410 with where to begin, and nothing left out."""

from datetime import datetime, timedelta
from typing import Any

import pytest
from django.db import connection

from accounts.models import Organisation
from core.clock import now
from notifications.models import Attempt, Delivery, Endpoint, Event, FeedStart
from notifications.services.dropping import attempts_drop, contacts_drop, events_drop
from tests.notifications.notices import add_webhook, delivery_to, happened, tried
from tests.scene import Api, Scene, person_api

A_DAY = 24 * 60


def past(days: int, dealer: Organisation | None = None, **more: Any) -> Event:
    """Have something happened so many days ago."""
    return happened(dealer=dealer, minutes_ago=days * A_DAY, **more)


def all_dropped(days: int, limit: int = 500) -> int:
    """Drop what was recorded more than so many days ago, batch by batch; return the rows."""
    rows, place, more = 0, "", True
    while more:
        gone = events_drop(before=now() - timedelta(days=days), place=place, limit=limit)
        rows, place, more = rows + gone.rows, gone.place, bool(gone.place)
    return rows


def positions(api: Api, query: str = "") -> list[int]:
    answer = api.get(f"/events{query}")
    assert answer.status_code == 200, answer.content
    return [entry["position"] for entry in answer.json()["events"]]


def gone(answer: Any) -> Any:
    assert answer.status_code == 410, answer.content
    assert answer.headers["Content-Type"] == "application/problem+json"
    problem = answer.json()
    assert problem["type"] == "urn:shutline:problem:gone"
    return problem


def replayed(api: Api, endpoint: Any, since: datetime, **more: Any) -> Any:
    body = {"from": since.isoformat(), "to": (now() + timedelta(minutes=1)).isoformat(), **more}
    return api.post(f"/webhook-endpoints/{endpoint['id']}/replay", body)


def test_a_cursor_before_what_is_kept_is_told_where_to_begin(scene: Scene) -> None:
    old = [past(200 - nth, scene.dealer) for nth in range(3)]
    kept = [past(20, scene.dealer), past(10, scene.dealer)]
    assert all_dropped(180) == 3
    api = scene.dealer_api()
    for cursor in (0, old[0].position, old[1].position):
        problem = gone(api.get(f"/events?after={cursor}"))
        assert problem["cursor"] == old[2].position
    wanted = [event.position for event in kept]
    assert positions(api, f"?after={problem['cursor']}") == wanted
    assert positions(api, f"?after={kept[0].position}") == wanted[1:]
    assert positions(api) == wanted


def test_who_lost_nothing_is_not_sent_back(scene: Scene) -> None:
    """A quiet dealer's cursor is older than what others had since, and still good."""
    last = past(300, scene.dealer)
    for nth in range(5):
        past(290 - nth, scene.stranger_dealer)
    assert all_dropped(180, limit=2) == 6
    quiet = scene.dealer_api()
    assert positions(quiet, f"?after={last.position}") == []
    fresh = happened(dealer=scene.dealer)
    assert positions(quiet, f"?after={last.position}") == [fresh.position]
    never = person_api(scene.owner)
    assert positions(never, "?after=0") == []


def test_positions_go_on_when_every_event_is_gone(scene: Scene) -> None:
    last = past(200, scene.dealer)
    all_dropped(180)
    assert not Event.objects.exists()
    assert happened(dealer=scene.dealer).position == (last.position or 0) + 1


def test_an_event_goes_with_its_deliveries_and_their_attempts(scene: Scene) -> None:
    endpoint = add_webhook(scene.dealer_api())
    event = past(200, scene.dealer)
    tried(delivery_to(endpoint["id"], event), status=204, state=Delivery.State.DELIVERED)
    assert all_dropped(180) == 3
    assert not Delivery.objects.exists()
    assert not Attempt.objects.exists()
    assert FeedStart.objects.get().position == event.position


@pytest.mark.parametrize("why", ["waits", "not placed"])
def test_what_is_still_on_its_way_stays(scene: Scene, why: str) -> None:
    add_webhook(scene.dealer_api())
    past(200, scene.dealer, place=why == "waits")
    assert all_dropped(180) == 0
    assert Event.objects.count() == 1
    assert not FeedStart.objects.exists()


def test_the_edge_is_the_term_to_the_instant(scene: Scene) -> None:
    event = past(180, scene.dealer)
    for before, rows in ((event.recorded_at, 0), (event.recorded_at + timedelta.resolution, 1)):
        assert events_drop(before=before).rows == rows


def test_a_replay_from_before_what_is_kept_is_told_from_when(scene: Scene) -> None:
    api = scene.dealer_api()
    old = past(200, scene.dealer)
    kept = past(20, scene.dealer)
    endpoint = add_webhook(api)
    all_dropped(180)
    problem = gone(replayed(api, endpoint, old.recorded_at - timedelta(days=1)))
    begin = datetime.fromisoformat(problem["from"])
    assert begin == old.recorded_at + timedelta.resolution
    assert replayed(api, endpoint, begin).json()["replayed"] == 1
    assert delivery_to(endpoint["id"], kept).state == Delivery.State.WAITING
    gone(replayed(api, endpoint, begin - timedelta.resolution))


def test_a_replay_that_was_overtaken_is_told(scene: Scene) -> None:
    api = scene.dealer_api()
    first, second = past(200, scene.dealer), past(190, scene.dealer)
    endpoint = add_webhook(api)
    since = second.recorded_at + timedelta.resolution
    all_dropped(180)
    problem = gone(replayed(api, endpoint, since, after=first.position))
    assert problem["cursor"] == second.position


def test_the_page_says_it_in_its_own_words(scene: Scene) -> None:
    endpoint = add_webhook(scene.dealer_api())
    past(200, scene.dealer)
    Delivery.objects.update(state=Delivery.State.DELIVERED)
    all_dropped(180)
    form = {"from": "2020-01-01T00:00", "to": "2030-01-01T00:00"}
    path = f"/notices/webhooks/{endpoint['id']}/replay"
    answer = person_api(scene.staff).client.post(path, form)
    assert answer.status_code == 410, answer.content
    assert b"not kept any more" in answer.content
    assert b"or later" in answer.content
    assert b"cursor" not in answer.content


def test_attempts_go_before_their_delivery(scene: Scene) -> None:
    endpoint = add_webhook(scene.dealer_api())
    delivery = delivery_to(endpoint["id"], happened(dealer=scene.dealer))
    for _ in range(3):
        tried(delivery, status=500, state=Delivery.State.WAITING)
    newest = Attempt.objects.latest("pk")
    Attempt.objects.exclude(pk=newest.pk).update(started_at=now() - timedelta(days=61))
    before = now() - timedelta(days=60)
    first = attempts_drop(before=before, limit=1)
    assert (first.rows, bool(first.place)) == (1, True)
    assert attempts_drop(before=before, place=first.place).rows == 1
    assert list(Attempt.objects.all()) == [newest]
    delivery.refresh_from_db()
    assert delivery.last_status == 500


def test_the_address_of_a_contact_goes_with_the_last_notice_to_it(scene: Scene) -> None:
    made = now() - timedelta(days=200)
    for address, direct in (("a@x.example", True), ("b@x.example", False)):
        endpoint = Endpoint.objects.create(
            organisation=scene.dealer, channel="email", address=address, direct=direct
        )
        Endpoint.objects.filter(pk=endpoint.pk).update(created_at=made)
    kept = Endpoint.objects.create(
        organisation=scene.dealer, channel="email", address="c@x.example", direct=True
    )
    assert contacts_drop(before=now() - timedelta(days=180)) == 1
    assert set(Endpoint.objects.values_list("address", flat=True)) == {"b@x.example", kept.address}


def test_a_batch_reads_by_an_index(scene: Scene) -> None:
    """A batch looks at the rows that it takes, however many there are behind them."""
    for nth in range(3):
        past(200 - nth, scene.dealer)
    if connection.vendor == "postgresql":
        pytest.skip("SQLite's plan says it in one line")
    plan = Event.objects.filter(number__gt=0).order_by("number")[:2].explain()
    assert "USING INTEGER PRIMARY KEY" in plan
