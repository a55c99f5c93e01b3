"""A range again: piece by piece, with counts until nothing waits any more."""

import re
from datetime import timedelta
from typing import Any
from urllib.parse import parse_qs, urlsplit

import pytest
from django.test import Client
from django.utils.timezone import localtime

from core.clock import now
from core.epoch import epoch_begin
from notifications.models import Delivery
from notifications.services import replay
from notifications.services.publish import events_publish
from tests.notifications.notices import add_webhook, delivery_to, happened, tried
from tests.notifications.test_pages_notices import text
from tests.scene import Scene, person_api

HTMX = {"HX-Request": "true"}


@pytest.fixture
def staff(scene: Scene) -> Client:
    return person_api(scene.staff).client


def typed(**more: Any) -> dict[str, Any]:
    """Return a form for the last hour."""
    begun, ended = localtime(now() - timedelta(hours=1)), localtime(now() + timedelta(minutes=1))
    shown = {"from": f"{begun:%Y-%m-%dT%H:%M}", "to": f"{ended:%Y-%m-%dT%H:%M}"}
    return {**shown, "only_failed": "on", **more}


def missed(scene: Scene, hook: Any, count: int) -> list[Delivery]:
    """Add so many notices that were given up."""
    events = [happened(dealer=scene.dealer, place=False) for _ in range(count)]
    events_publish()
    deliveries = [delivery_to(hook["id"], event) for event in events]
    for delivery in deliveries:
        tried(delivery, status=500, state="failed", tries=10)
    return deliveries


def begun(staff: Client, hook: Any, **more: Any) -> str:
    """Begin a replay and return where its progress is shown."""
    answer = staff.post(f"/notices/webhooks/{hook['id']}/replay", typed(**more))
    assert answer.status_code == 303, text(answer)
    return str(answer.headers["Location"])


def token_in(page: str) -> str:
    return parse_qs(urlsplit(page).query)["run"][0]


def test_the_form_offers_the_time_since_the_first_failure(scene: Scene, staff: Client) -> None:
    hook = add_webhook(scene.dealer_api())
    said = staff.get(f"/notices/webhooks/{hook['id']}/replay").content.decode()
    assert f"{localtime(now() - timedelta(hours=24)):%Y-%m-%dT%H}" in said
    assert re.search(r'name="only_failed" checked', said)


def test_a_wrong_range_is_refused_with_every_field_named(scene: Scene, staff: Client) -> None:
    hook = add_webhook(scene.dealer_api())
    wrong = {"from": "2027-03-02T09:00", "to": "2027-03-01T09:00", "event_types": ["job.sold"]}
    refused = staff.post(f"/notices/webhooks/{hook['id']}/replay", wrong)
    assert refused.status_code == 400
    assert "The range ends before it begins" in text(refused)
    assert "There is no event type called job.sold" in text(refused)
    assert 'value="2027-03-02T09:00"' in refused.content.decode()


def test_progress_counts_until_nothing_waits_and_then_asks_no_more(
    scene: Scene, staff: Client
) -> None:
    hook = add_webhook(scene.dealer_api())
    deliveries = missed(scene, hook, 3)
    page = begun(staff, hook)
    said = staff.get(page)
    assert "0 of 3 done." in text(said)
    part = re.search(r'data-poll="([^"]+)"', said.content.decode())
    assert part
    address = part[1].replace("&amp;", "&")
    tried(deliveries[0], status=204, state="delivered")
    tried(deliveries[1], status=500, state="failed", tries=10)
    going = staff.get(address)
    assert "2 of 3 done." in text(going)
    assert "X-Poll" not in going.headers
    tag = {"If-None-Match": going.headers["ETag"]}
    assert staff.get(address, headers=tag).status_code == 304
    tried(deliveries[2], status=204, state="delivered")
    ended = staff.get(address, headers=tag)
    assert ended.headers["X-Poll"] == "stop"
    assert "Done: 2 of 3 arrived." in text(ended)
    assert "See what was given up, and why" in text(ended)
    assert "data-poll" not in staff.get(page).content.decode()


def test_what_arrived_before_is_neither_sent_nor_counted(scene: Scene, staff: Client) -> None:
    hook = add_webhook(scene.dealer_api())
    there, lost = missed(scene, hook, 2)
    tried(there, status=204, state="delivered")
    page = begun(staff, hook)
    assert "0 of 1 done." in text(staff.get(page))
    there.refresh_from_db()
    lost.refresh_from_db()
    assert (there.state, lost.state) == ("delivered", "waiting")


def test_a_range_without_anything_says_so(scene: Scene, staff: Client) -> None:
    hook = add_webhook(scene.dealer_api())
    said = staff.get(begun(staff, hook))
    assert "There is nothing to send in this range." in text(said)
    assert "data-poll" not in said.content.decode()


def test_a_long_range_goes_on_by_script_piece_by_piece(
    scene: Scene, staff: Client, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(replay, "MOST_EVENTS", 2)
    hook = add_webhook(scene.dealer_api())
    missed(scene, hook, 5)
    page = begun(staff, hook)
    first = staff.get(page).content.decode()
    assert 'hx-trigger="load, submit, every 5s"' in first
    assert "htmx" in first
    onward = f"/notices/webhooks/{hook['id']}/replay/next"
    second = staff.post(onward, {"run": token_in(page)}, headers=HTMX)
    assert "4 set on their way so far" in text(second)
    shown_at = second.headers["HX-Replace-Url"]
    assert "csrfmiddlewaretoken" in second.content.decode()
    last = staff.post(onward, {"run": token_in(shown_at)}, headers=HTMX)
    assert "0 of 5 done." in text(staff.get(last.headers["HX-Redirect"]))
    assert Delivery.objects.filter(state="waiting").count() == 5


def test_a_long_range_does_not_go_on_behind_a_restore(
    scene: Scene, staff: Client, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(replay, "MOST_EVENTS", 2)
    hook = add_webhook(scene.dealer_api())
    missed(scene, hook, 3)
    page = begun(staff, hook)
    waiting = Delivery.objects.filter(state="waiting").count()
    epoch_begin(backup_made_at=now())
    onward = f"/notices/webhooks/{hook['id']}/replay/next"
    refused = staff.post(onward, {"run": token_in(page)})
    assert refused.status_code == 409
    assert "restored from a backup" in text(refused)
    assert "restored from a backup" in text(
        staff.post(onward, {"run": token_in(page)}, headers=HTMX)
    )
    assert Delivery.objects.filter(state="waiting").count() == waiting


def test_a_long_range_goes_on_by_button_without_a_script(
    scene: Scene, staff: Client, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(replay, "MOST_EVENTS", 2)
    hook = add_webhook(scene.dealer_api())
    missed(scene, hook, 3)
    page = begun(staff, hook)
    assert "Go on" in text(staff.get(page))
    onward = f"/notices/webhooks/{hook['id']}/replay/next"
    answer = staff.post(onward, {"run": token_in(page)})
    assert answer.status_code == 303
    assert "0 of 3 done." in text(staff.get(answer.headers["Location"]))


def test_a_long_range_stops_with_a_word_when_it_was_switched_off_meanwhile(
    scene: Scene, staff: Client, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(replay, "MOST_EVENTS", 2)
    hook = add_webhook(scene.dealer_api())
    missed(scene, hook, 3)
    page = begun(staff, hook)
    staff.post(f"/notices/webhooks/{hook['id']}/switch", {"state": "off"})
    onward = f"/notices/webhooks/{hook['id']}/replay/next"
    answer = staff.post(onward, {"run": token_in(page)}, headers=HTMX)
    assert answer.status_code == 200
    assert "It does not go on" in text(answer)
    assert "load" not in answer.content.decode()
    assert "Stopped: it was switched off 2" in text(answer)


def test_a_run_of_another_endpoint_or_a_changed_one_is_refused(scene: Scene, staff: Client) -> None:
    api = scene.dealer_api()
    hook, second_hook = add_webhook(api), add_webhook(api, url="https://other.example/in")
    token = token_in(begun(staff, hook))
    for wrong in (token, "x" + token, "nothing", ""):
        page = f"/notices/webhooks/{second_hook['id']}/replay"
        assert staff.get(page, {"run": wrong}).status_code == 400
        assert staff.get(f"{page}/part", {"run": wrong}).status_code == 400
        assert staff.post(f"{page}/next", {"run": wrong}).status_code == 400
    refused = staff.get(f"/notices/webhooks/{hook['id']}/replay", {"run": token[:-3]})
    assert "what was sent again is on its way" in text(refused)


def test_a_range_cannot_be_sent_again_while_it_is_off(scene: Scene, staff: Client) -> None:
    hook = add_webhook(scene.dealer_api())
    staff.post(f"/notices/webhooks/{hook['id']}/switch", {"state": "off"})
    page = f"/notices/webhooks/{hook['id']}/replay"
    assert "Switch it on first" in text(staff.get(page))
    assert staff.post(page, typed()).status_code == 409
