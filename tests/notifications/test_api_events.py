"""The feed: every event once and in order, whatever workers, writers and webhooks do."""

import json
from threading import Event as Signal
from threading import Thread
from typing import Any

import pytest
from django.db import connection, transaction

from accounts.caller import Caller, Scope, Side
from notifications.api import events as feed_view
from notifications.models import Event
from notifications.selectors import events_of, events_wait_for_position
from tests.notifications.notices import happened
from tests.patience import PATIENCE_SECONDS
from tests.scene import Api, Scene, key_api, make_scene, person_api


def feed(api: Api, query: str = "") -> Any:
    response = api.get(f"/events{query}")
    assert response.status_code == 200, response.content
    return response.json()


def ids(page: Any) -> list[str]:
    return [entry["id"] for entry in page["events"]]


def test_an_entry_is_the_notice_byte_for_byte(scene: Scene) -> None:
    event = happened(dealer=scene.dealer, type="job.ready")
    content = scene.dealer_api().get("/events").content
    (entry,) = json.loads(content)["events"]
    assert entry.pop("position") == event.position
    assert entry.pop("id") == str(event.id)
    assert entry == json.loads(event.body)
    assert event.body[1:].encode() in content


def test_both_sides_see_an_event_and_strangers_do_not(scene: Scene) -> None:
    event = happened(dealer=scene.dealer, workshop=scene.workshop)
    for api in (scene.dealer_api(), scene.workshop_api(), person_api(scene.valeter)):
        assert ids(feed(api)) == [str(event.id)]
    for stranger in (scene.stranger_dealer, scene.stranger_workshop):
        assert ids(feed(key_api(stranger))) == []


def test_it_needs_a_key_that_may_read(scene: Scene) -> None:
    refused = key_api(scene.dealer, [Scope.NOTICES]).get("/events")
    assert refused.status_code == 403
    assert refused.json()["required_scope"] == "jobs.read"
    assert Api(scene.dealer_api().client).get("/events").status_code == 401


def test_following_the_cursor_leaves_nothing_out(scene: Scene) -> None:
    wanted = []
    for _ in range(5):
        wanted.append(str(happened(dealer=scene.dealer).id))
        happened(dealer=scene.stranger_dealer)
    api = scene.dealer_api()
    seen, after, more = [], 0, True
    while more:
        page = feed(api, f"?after={after}&limit=2")
        assert len(page["events"]) <= 2
        seen += ids(page)
        after, more = page["cursor"], page["more"]
    assert seen == wanted


def test_at_the_end_the_cursor_stays(scene: Scene) -> None:
    api = scene.dealer_api()
    assert feed(api) == {"events": [], "cursor": 0, "more": False}
    position = happened(dealer=scene.dealer).position
    assert feed(api)["cursor"] == position
    assert feed(api, f"?after={position}") == {"events": [], "cursor": position, "more": False}


def test_it_works_while_every_worker_is_dead(scene: Scene) -> None:
    written = [str(happened(dealer=scene.dealer, place=False).id) for _ in range(3)]
    assert events_wait_for_position()
    assert ids(feed(scene.dealer_api())) == written
    assert not events_wait_for_position()


def test_behind_a_long_backlog_it_says_that_there_is_more(
    scene: Scene, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(feed_view, "PLACED_AT_ONCE", 2)
    for _ in range(2):
        happened(dealer=scene.stranger_dealer, place=False)
    mine = happened(dealer=scene.dealer, place=False)
    api = scene.dealer_api()
    assert feed(api) == {"events": [], "cursor": 0, "more": True}
    page = feed(api)
    assert ids(page) == [str(mine.id)]
    assert page["more"] is False


def test_a_poll_takes_four_queries_however_many_events(
    scene: Scene, django_assert_num_queries: Any
) -> None:
    api = scene.dealer_api()
    feed(api)  # the key's last use is noted once a minute
    for count in (1, 30):
        for _ in range(count):
            happened(dealer=scene.dealer)
        # The key with its organisation, a look for unplaced events, the page.
        with django_assert_num_queries(3):
            feed(api)
        # With a cursor, whether what stands behind it is still kept.
        with django_assert_num_queries(4):
            feed(api, "?after=0")


@pytest.mark.parametrize("side", list(Side))
def test_the_page_and_the_look_for_unplaced_events_go_by_index(scene: Scene, side: Side) -> None:
    caller = Caller(scene.dealer.pk, side, frozenset(), "tests")
    page = events_of(caller).filter(position__gt=3).order_by("position")
    unplaced = Event.objects.filter(position__isnull=True)[:1]
    with transaction.atomic():
        if connection.vendor == "postgresql":  # which reads small tables whole otherwise
            connection.cursor().execute("SET LOCAL enable_seqscan = off")
            connection.cursor().execute("SET LOCAL enable_bitmapscan = off")
            # And may take the unique index of positions, by what it last counted in this table.
            connection.cursor().execute(
                "ALTER TABLE notifications_event DROP CONSTRAINT notifications_event_position_key"
            )
        plans = page.explain(), unplaced.explain()
    assert f"event_feed_{side}" in plans[0]
    # SQLite finds the nulls in the unique index of positions as quickly.
    assert "event_not_placed" in plans[1] or "(position=?)" in plans[1]
    for plan in plans:
        assert "SORT" not in plan.upper()
        assert "TEMP B-TREE" not in plan


def test_an_unchanged_page_is_answered_304(scene: Scene) -> None:
    happened(dealer=scene.dealer)
    api = scene.dealer_api()
    first = api.get("/events")
    again = api.get("/events", **{"If-None-Match": first.headers["ETag"]})
    assert again.status_code == 304
    happened(dealer=scene.dealer)
    assert api.get("/events", **{"If-None-Match": first.headers["ETag"]}).status_code == 200


@pytest.mark.parametrize(
    ("query", "fields"),
    [
        ("?after=-1&limit=0", {"after", "limit"}),
        ("?after=soon&limit=501", {"after", "limit"}),
        (f"?after={2**63}", {"after"}),
        # Passed over, a slip of the pen would send the whole feed again from the beginning.
        ("?afetr=3", {"afetr"}),
        ("?after=", {"after"}),
    ],
)
def test_a_bad_query_is_refused_naming_every_field(
    scene: Scene, query: str, fields: set[str]
) -> None:
    response = scene.dealer_api().get(f"/events{query}")
    assert response.status_code == 400
    assert {entry["field"] for entry in response.json()["errors"]} == fields


@pytest.mark.django_db(transaction=True)
@pytest.mark.skipif(
    connection.vendor == "sqlite",
    reason="SQLite lets one writer in at a time: no event can commit behind a later one",
)
def test_the_cursor_never_passes_an_event_that_commits_later() -> None:
    scene = make_scene()
    api = scene.dealer_api()
    written, go_on = Signal(), Signal()
    slow: list[Event] = []

    def write_slowly() -> None:
        try:
            with transaction.atomic():
                slow.append(happened(dealer=scene.dealer, place=False))
                written.set()
                assert go_on.wait(PATIENCE_SECONDS)
        finally:
            connection.close()

    writer = Thread(target=write_slowly)
    writer.start()
    assert written.wait(PATIENCE_SECONDS)
    quick = happened(dealer=scene.dealer, place=False)
    assert quick.number > slow[0].number
    first = feed(api)
    go_on.set()
    writer.join(PATIENCE_SECONDS)
    second = feed(api, f"?after={first['cursor']}")
    assert ids(first) == [str(quick.id)]
    assert ids(second) == [str(slow[0].id)]
