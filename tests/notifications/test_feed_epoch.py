"""The feed after a restore: a cursor from before is refused, with the cursor to go on from."""

from datetime import UTC, datetime
from typing import Any

import pytest

from core.epoch import cursor_at, epoch_begin, epoch_number
from notifications.models import Event, FeedEnd
from tests.notifications.notices import add_webhook, happened
from tests.scene import Api, Scene, person_api

BACKUP = datetime(2026, 11, 28, 22, 5, tzinfo=UTC)


def feed(api: Api, after: int = 0) -> Any:
    response = api.get(f"/events?after={after}")
    assert response.status_code == 200, response.content
    return response.json()


def ids(page: Any) -> list[str]:
    return [entry["id"] for entry in page["events"]]


def refusal(api: Api, after: int) -> Any:
    response = api.get(f"/events?after={after}")
    assert response.status_code == 409, response.content
    problem = response.json()
    assert problem["type"] == "urn:shutline:problem:restored"
    return problem


def lose_after(event: Event) -> None:
    """Bring the feed back to where it was when this was its last event."""
    Event.objects.filter(position__gt=event.position).delete()
    FeedEnd.objects.update(position=event.position)
    epoch_begin(backup_made_at=BACKUP)


@pytest.mark.parametrize("who", ["key", "person"])
def test_a_reader_from_before_goes_on_with_the_cursor_in_the_refusal(
    scene: Scene, who: str
) -> None:
    kept = happened(dealer=scene.dealer)
    happened(dealer=scene.dealer)
    api = scene.dealer_api() if who == "key" else person_api(scene.staff)
    old = feed(api)["cursor"]
    lose_after(kept)
    fresh = happened(dealer=scene.dealer)
    assert fresh.position == old, "the position comes twice"
    problem = refusal(api, old)
    assert "2026-11-28 22:05 UTC" in problem["detail"]
    assert "Idempotency-Key" in problem["next_step"]
    assert problem["cursor"] == cursor_at(kept.position or 0, epoch=epoch_number())
    page = feed(api, problem["cursor"])
    assert ids(page) == [str(fresh.id)]
    assert ids(feed(api)) == [str(kept.id), str(fresh.id)]
    assert feed(api, page["cursor"]) == {"events": [], "cursor": page["cursor"], "more": False}


def test_a_reader_who_had_read_less_than_the_backup_misses_nothing(scene: Scene) -> None:
    first, second, third = (happened(dealer=scene.dealer) for _ in range(3))
    api = scene.dealer_api()
    lose_after(second)
    problem = refusal(api, first.position or 0)
    assert ids(feed(api, problem["cursor"])) == [str(second.id)]
    assert third.position is not None


def test_a_reader_from_two_restores_ago_begins_at_the_start(scene: Scene) -> None:
    kept = happened(dealer=scene.dealer)
    api = scene.dealer_api()
    old = feed(api)["cursor"]
    lose_after(kept)
    between = happened(dealer=scene.dealer)
    lose_after(between)
    problem = refusal(api, old)
    assert ids(feed(api, problem["cursor"])) == [str(kept.id), str(between.id)]


def test_a_cursor_ahead_of_the_feed_is_refused_whatever_the_epoch(
    scene: Scene, django_assert_num_queries: Any
) -> None:
    """A database brought back by a snapshot has the epoch that it had."""
    position = happened(dealer=scene.dealer).position or 0
    api = scene.dealer_api()
    assert feed(api, position)["events"] == []
    problem = refusal(api, position + 1)
    assert "ahead of all that there is" in problem["detail"]
    assert "cursor" not in problem
    happened(dealer=scene.stranger_dealer)
    assert feed(api, position + 1)["cursor"] == position + 1
    # Beside the key, unplaced events and the page: where the feed begins; with nothing, its ends.
    with django_assert_num_queries(6):
        feed(api, position + 1)
    with django_assert_num_queries(4):
        feed(api)


def test_a_replay_in_pieces_does_not_go_on_behind_a_restore(scene: Scene) -> None:
    happened(dealer=scene.dealer)
    api = scene.dealer_api()
    endpoint = add_webhook(api)["id"]
    path = f"/webhook-endpoints/{endpoint}/replay"
    asked = {"from": "2020-01-01T00:00:00Z", "to": "2100-01-01T00:00:00Z"}
    first = api.post(path, asked)
    assert first.status_code == 202, first.content
    further = {**asked, "after": first.json()["cursor"]}
    assert api.post(path, further).status_code == 202
    epoch_begin(backup_made_at=BACKUP)
    refused = api.post(path, further)
    assert (refused.status_code, refused.json()["type"]) == (409, "urn:shutline:problem:restored")
    fresh = api.post(path, asked).json()["cursor"]
    assert api.post(path, {**asked, "after": fresh}).status_code == 202
