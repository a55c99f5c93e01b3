"""The pages about notices: the list, one webhook or e-mail recipient, and what became of each."""

import re
from typing import Any
from uuid import UUID

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from core.ids import new_id
from notifications.models import Attempt, Delivery, Endpoint
from notifications.services.publish import events_publish
from tests.api.steps import posted
from tests.notifications.notices import add_webhook, delivery_to, failing, happened, tried
from tests.scene import Scene, person_api

MOST_QUERIES = 12
NEW = "/notices/webhooks/new"
HOOK = "https://stock.brackmoor.example/notices"


@pytest.fixture
def staff(scene: Scene) -> Client:
    return person_api(scene.staff).client


def text(answer: Any) -> str:
    """Return what a page says, without its tags and with single spaces."""
    return " ".join(re.sub(r"<[^>]*>", " ", answer.content.decode()).split())


def many(scene: Scene, count: int) -> Endpoint:
    """Add that many endpoints, the last with that many failed notices of three tries each."""
    endpoints = Endpoint.objects.bulk_create(
        Endpoint(
            organisation=scene.dealer, channel="webhook", address=f"https://one.example/{number}",
            failing_since="2027-03-01T09:00Z" if number % 2 else None,
        )
        for number in range(count)
    )  # fmt: skip
    Endpoint.objects.exclude(pk=endpoints[-1].pk).update(state="off")
    for _ in range(count):
        happened(dealer=scene.dealer, place=False)
    events_publish()
    for delivery in Delivery.objects.filter(endpoint=endpoints[-1]):
        for _ in range(3):
            tried(delivery, status=503, state="failed", tries=10)
    Endpoint.objects.update(state="on")
    return endpoints[-1]


def test_a_dealer_without_any_is_told_what_a_notice_is_and_what_to_do_first(staff: Client) -> None:
    said = text(staff.get("/notices/"))
    assert "Nobody is told yet" in said
    assert "A notice says that something happened to a car" in said
    assert "Add an e-mail recipient" in said


def test_who_needs_somebody_stands_first_with_the_reason_in_words(
    scene: Scene, staff: Client
) -> None:
    api = scene.dealer_api()
    broken = add_webhook(api, url="https://broken.example/in")
    add_webhook(api, url="https://well.example/in")
    failing(broken["id"])
    said = text(staff.get("/notices/"))
    assert said.index("Needs you") < said.index("https://broken.example/in")
    assert said.index("https://broken.example/in") < said.index("The others")
    assert said.index("The others") < said.index("https://well.example/in")
    assert "Stopped by the service" in said
    assert "It failed for 120 hours." in said


def test_the_list_is_in_the_order_of_who_needs_somebody(scene: Scene, staff: Client) -> None:
    api = scene.dealer_api()
    names = ("on", "missed", "off", "failing", "stopped")
    ids = {name: add_webhook(api, url=f"https://{name}.example/")["id"] for name in names}
    failing(ids["stopped"])
    failing(ids["failing"], state="on")
    tried(delivery_to(ids["missed"], happened(dealer=scene.dealer)), status=500, state="failed")
    staff.post(f"/notices/webhooks/{ids['off']}/switch", {"state": "off"})
    said = text(staff.get("/notices/"))
    shown = re.findall(r"https://(\w+)\.example/|(Needs you|The others)", said)
    expected = ["Needs you", "stopped", "failing", "missed", "The others", "on", "off"]
    assert ["".join(pair) for pair in shown] == expected


def test_the_list_says_how_each_does(scene: Scene, staff: Client) -> None:
    hook = add_webhook(scene.dealer_api(), description="Stock system")
    for state, status in (("delivered", 204), ("failed", 500), ("waiting", 503)):
        delivery = delivery_to(hook["id"], happened(dealer=scene.dealer))
        tried(delivery, status=status, state=state)
    said = text(staff.get("/notices/"))
    assert "Waiting 1 Given up, 7 days 1" in said
    assert "1 notice did not arrive in the last 7 days" in said
    assert "Stock system" in said
    assert "not in 30 days" not in said


@pytest.mark.parametrize("count", [1, 60])
def test_pages_take_as_few_queries_for_sixty_as_for_one(
    scene: Scene, staff: Client, count: int
) -> None:
    endpoint = many(scene, count)
    taken = {}
    for address in ("/notices/", f"/notices/webhooks/{endpoint.pk}"):
        with CaptureQueriesContext(connection) as asked:
            assert staff.get(address).status_code == 200
        taken[address] = len(asked)
    assert max(taken.values()) <= MOST_QUERIES, taken


def test_a_new_webhook_shows_its_secret_once_and_to_nobodys_cache(staff: Client) -> None:
    made = staff.post(NEW, {"url": HOOK, "event_types": ["job.ready", "job.arrived"]})
    assert made.status_code == 200
    assert made.headers["Cache-Control"] == "no-store"
    secret = re.search(r'value="(whsec_[^"]+)"', made.content.decode())
    assert secret
    assert "How your system checks a notice" in text(made)
    hook = Endpoint.objects.get(address=HOOK)
    assert hook.event_types == ["job.ready", "job.arrived"]
    for page in (
        "/notices/",
        f"/notices/webhooks/{hook.pk}",
        f"/notices/webhooks/{hook.pk}/secret",
    ):
        assert secret[1] not in staff.get(page).content.decode()


def test_a_refused_webhook_names_every_field_and_keeps_what_was_typed(staff: Client) -> None:
    typed = {"url": "ftp://stock.example", "description": "x" * 201, "event_types": ["job.ready"]}
    refused = staff.post(NEW, typed)
    assert refused.status_code == 400
    said = text(refused)
    assert "Address of the receiving system: The URL must begin with" in said
    assert "A note of your own: Ensure this field has no more than 200 characters." in said
    assert 'value="ftp://stock.example"' in refused.content.decode()
    assert 'value="job.ready" checked' in refused.content.decode()


def test_the_same_address_twice_is_said_beside_the_address(staff: Client) -> None:
    staff.post(NEW, {"url": HOOK})
    again = staff.post(NEW, {"url": HOOK})
    assert again.status_code == 409
    assert "There is one with this address already" in text(again)
    assert Endpoint.objects.filter(address=HOOK).count() == 1


def test_an_e_mail_recipient_is_added_and_changed(staff: Client) -> None:
    typed = {"email": "ines@brackmoor.example", "event_types": ["job.ready"]}
    made = staff.post("/notices/email/new", typed, follow=True)
    assert "Notices go to ines@brackmoor.example from now on." in text(made)
    recipient = Endpoint.objects.get(channel="email")
    changed = {**typed, "event_types": ["job.ready", "job.held"], "description": "Front desk"}
    staff.post(f"/notices/email/{recipient.pk}/edit", changed)
    recipient.refresh_from_db()
    assert (recipient.event_types, recipient.description) == (
        ["job.ready", "job.held"],
        "Front desk",
    )
    refused = staff.post(
        f"/notices/email/{recipient.pk}/edit", {"email": "ines", "description": ""}
    )
    assert refused.status_code == 400
    assert "What it takes:" in text(refused)
    assert "E-mail address: Enter a valid email address." in text(refused)


def test_a_delivery_says_what_happened_to_which_car_what_was_answered_and_what_to_do(
    scene: Scene, staff: Client
) -> None:
    hook = add_webhook(scene.dealer_api())
    delivery = delivery_to(hook["id"], happened(dealer=scene.dealer))
    tried(delivery, status=503, state="waiting")
    Delivery.objects.filter(pk=delivery.pk).update(last_error="The receiver answered 503.")
    said = text(staff.get(f"/notices/webhooks/{hook['id']}"))
    assert "TU21 ABC The car arrived at the workshop." in said
    assert "The receiver is closed for the moment." in said
    assert "it is tried again by itself" in said
    assert "1 attempt" in said
    assert "The receiver refused, with status 503." in said
    assert "Back in a moment" in said


def test_a_car_leads_to_its_page_on_the_side_of_whoever_looks(scene: Scene, staff: Client) -> None:
    manager = person_api(scene.manager).client
    for api, client, page, mark in (
        (scene.dealer_api(), staff, "/dashboard/cars/", "TU21 ABC"),
        (scene.workshop_api(), manager, "/desk/cars/", "TU21 ABD"),
    ):
        hook = add_webhook(api)
        job = posted(scene.dealer_api(), dealer_ref=mark, registration=mark)
        api.post(f"/webhook-endpoints/{hook['id']}/test")
        events_publish()
        said = client.get(f"/notices/webhooks/{hook['id']}").content.decode()
        assert set(re.findall(r'class="mark" href="([^"]+)"', said)) == {f"{page}{job['id']}"}
        assert client.get(f"{page}{job['id']}").status_code == 200


def test_the_list_narrows_by_state_and_by_what_happened(scene: Scene, staff: Client) -> None:
    hook = add_webhook(scene.dealer_api())
    page = f"/notices/webhooks/{hook['id']}"
    arrived = delivery_to(hook["id"], happened(dealer=scene.dealer))
    held = delivery_to(hook["id"], happened(dealer=scene.dealer, type="job.held"))
    tried(arrived, status=204, state="delivered")

    def shown(query: str) -> set[str]:
        return set(re.findall(r'<li id="d-([^"]+)"', staff.get(page + query).content.decode()))

    assert shown("") == {str(arrived.pk), str(held.pk)}
    assert shown("?state=delivered&event_type=") == {str(arrived.pk)}
    assert shown("?event_type=job.held") == {str(held.pk)}
    assert shown("?event_type=job.held&state=failed") == set()
    assert staff.get(page + "?state=lost").status_code == 400
    assert staff.get(page + "?before=yesterday").status_code == 400


def test_the_list_goes_on_by_cursor_without_a_gap_or_a_double(scene: Scene, staff: Client) -> None:
    hook = add_webhook(scene.dealer_api())
    for _ in range(45):
        happened(dealer=scene.dealer, place=False)
    events_publish()
    address, seen = f"/notices/webhooks/{hook['id']}", []
    query = "?state=waiting"
    while query:
        said = staff.get(address + query).content.decode()
        seen += re.findall(r'<li id="d-([^"]+)"', said)
        older = re.search(r'href="(\?[^"]*before=[^"#]+)', said)
        query = older[1].replace("&amp;", "&") if older else ""
        assert not older or "state=waiting" in query
    expected = Delivery.objects.filter(endpoint_id=hook["id"]).order_by("-pk")
    assert [UUID(key) for key in seen] == [delivery.pk for delivery in expected]


def test_send_again_is_one_tap_and_leads_back_to_the_same_list(scene: Scene, staff: Client) -> None:
    hook = add_webhook(scene.dealer_api())
    page = f"/notices/webhooks/{hook['id']}"
    delivery = delivery_to(hook["id"], happened(dealer=scene.dealer))
    tried(delivery, status=500, state="failed", tries=10)
    said = staff.get(f"{page}?state=failed").content.decode()
    again = f"{page}/deliveries/{delivery.pk}/again"
    assert f'form="act" formaction="{again}"' in said
    assert 'name="list" value="state=failed"' in said
    answer = staff.post(again, {"list": "state=failed&colour=red"})
    assert (answer.status_code, answer.headers["Location"]) == (303, f"{page}?state=failed")
    delivery.refresh_from_db()
    assert (delivery.state, delivery.tries) == ("waiting", 0)


def test_nothing_is_offered_to_be_sent_while_it_is_off(scene: Scene, staff: Client) -> None:
    hook = add_webhook(scene.dealer_api())
    page = f"/notices/webhooks/{hook['id']}"
    delivery = delivery_to(hook["id"], happened(dealer=scene.dealer))
    staff.post(f"{page}/switch", {"state": "off"})
    said = text(staff.get(page))
    assert "Switched off by Ines Okafor-Lind." in said
    assert "Not sent: it was off" in said
    assert "Send again" not in said
    refused = staff.post(f"{page}/deliveries/{delivery.pk}/again")
    assert refused.status_code == 409
    assert "Nothing is sent while it is off" in text(refused)
    assert "Switch it on on its own page" in text(refused)
    staff.post(f"{page}/switch", {"state": "on"})
    assert "Send again" in text(staff.get(page))


def test_a_test_goes_to_this_one_only(scene: Scene, staff: Client) -> None:
    hook, second_hook = (
        add_webhook(scene.dealer_api()),
        add_webhook(scene.dealer_api(), url=HOOK + "/2"),
    )
    answer = staff.post(f"/notices/webhooks/{hook['id']}/test", follow=True)
    assert "A test is on its way." in text(answer)
    events_publish()
    deliveries = Delivery.objects.values_list("endpoint_id", "event__type")
    assert list(deliveries) == [(UUID(hook["id"]), "endpoint.tested")]
    assert second_hook["id"] not in str(deliveries)


def test_a_second_new_secret_within_a_day_asks_whether_the_first_was_lost(
    scene: Scene, staff: Client
) -> None:
    page = f"/notices/webhooks/{add_webhook(scene.dealer_api())['id']}/secret"
    first = staff.post(page)
    assert "whsec_" in first.content.decode()
    assert first.headers["Cache-Control"] == "no-store"
    refused = staff.post(page)
    assert refused.status_code == 409
    assert "Did the newest one never reach your system?" in text(refused)
    second = staff.post(page, {"replace_newest": "1"})
    assert second.status_code == 200
    assert "whsec_" in second.content.decode()


def test_deleting_asks_first(scene: Scene, staff: Client) -> None:
    hook = add_webhook(scene.dealer_api())
    page = f"/notices/webhooks/{hook['id']}"
    assert "switch it off instead" in text(staff.get(f"{page}/delete"))
    assert "nothing goes to" in text(staff.post(f"{page}/delete", follow=True))
    assert staff.get(page).status_code == 404


@pytest.mark.parametrize("part", ["/notices/part", "/notices/webhooks/{}/part",
                                  "/notices/webhooks/{}/state"])  # fmt: skip
def test_parts_answer_304_until_something_changes_and_hold_no_token(
    scene: Scene, staff: Client, part: str
) -> None:
    hook = add_webhook(scene.dealer_api())
    delivery = delivery_to(hook["id"], happened(dealer=scene.dealer))
    first = staff.get(part.format(hook["id"]))
    assert "csrf" not in first.content.decode()
    tag = {"If-None-Match": f"W/{first.headers['ETag']}"}
    assert staff.get(part.format(hook["id"]), headers=tag).status_code == 304
    tried(delivery, status=500, state="failed")
    assert staff.get(part.format(hook["id"]), headers=tag).status_code == 200


def test_the_page_carries_the_tag_of_what_it_shows(scene: Scene, staff: Client) -> None:
    hook = add_webhook(scene.dealer_api())
    page = f"/notices/webhooks/{hook['id']}"
    said = staff.get(page).content.decode()
    for part, tag in re.findall(r'data-poll="([^"]+)"[^>]*data-tag="&quot;(\w+)&quot;"', said):
        assert staff.get(part, headers={"If-None-Match": f'"{tag}"'}).status_code == 304
    assert said.count("data-poll") == 2


def test_only_the_newest_attempts_of_a_notice_are_shown(scene: Scene, staff: Client) -> None:
    hook = add_webhook(scene.dealer_api())
    delivery = delivery_to(hook["id"], happened(dealer=scene.dealer))
    for number in range(14):
        attempt = tried(delivery, status=500, state="waiting")
        Attempt.objects.filter(pk=attempt.pk).update(answer=f"answer number {number}.")
    said = text(staff.get(f"/notices/webhooks/{hook['id']}"))
    assert "The last 10 attempts" in said
    assert [n for n in range(14) if f"answer number {n}." in said] == list(range(4, 14))


def test_a_stranger_finds_none_of_it(scene: Scene) -> None:
    hook = add_webhook(scene.dealer_api())
    manager = person_api(scene.manager).client
    assert HOOK not in text(manager.get("/notices/"))
    for page in ("", "/edit", "/delete", "/secret", "/replay", "/part", "/state"):
        assert manager.get(f"/notices/webhooks/{hook['id']}{page}").status_code == 404
    assert manager.get(f"/notices/webhooks/{new_id()}").status_code == 404
