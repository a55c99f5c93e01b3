"""The dealer's board: ready cars first, then what waits for the dealer, and what happened since."""

import re
from datetime import timedelta

import pytest
import time_machine
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.utils.timezone import localtime

from core.clock import now
from jobs.dashboard.board import MOST_OTHERS
from jobs.work.models import DashboardLook
from tests.api.asking import opened
from tests.api.found import CLICK, PAPERS, SECRETS, STOP, acknowledge, clear, found
from tests.api.looked import MOST_QUERIES, page, section, words
from tests.api.steps import arrived, done, moved, posted, ready
from tests.scene import Scene, key_api, person_api

MOST_QUERIES_UNCHANGED = 1
pytestmark = pytest.mark.django_db


@pytest.fixture
def staff(scene: Scene) -> Client:
    return person_api(scene.staff).client


def test_it_says_what_to_do_first_where_there_are_no_cars(staff: Client) -> None:
    html = page(staff)
    assert "No cars yet" in html
    assert 'href="/dashboard/new"' in html


def test_ready_cars_stand_first_with_where_they_stand_and_since_when(
    scene: Scene, staff: Client
) -> None:
    ready(scene, location="Rear compound, bay 4")
    html = page(staff)
    said = section(html, "ready")
    assert "TU21 ABC" in said
    assert "Fernhollow Valeting" in said
    assert "Rear compound, bay 4" in said
    assert f"ready since {localtime(now()):%H}:" in said
    assert html.index('id="ready"') < html.index('id="you"') < html.index('id="all"')


def test_a_ready_car_that_must_not_be_driven_says_so_though_it_was_acknowledged(
    scene: Scene, staff: Client
) -> None:
    job = ready(scene)
    finding = found(scene.workshop_api(), job, STOP)
    assert done(acknowledge(scene.dealer_api(), finding))["acknowledged_at"]
    html = page(staff)
    said = section(html, "stopped")
    assert "Do not drive this car" in said
    assert "ready" in said
    assert html.index('id="stopped"') < html.index('id="ready"')
    assert "TU21 ABC" not in section(html, "ready")
    done(clear(scene.dealer_api(), finding, how="transported", by="Corm Recovery"))
    assert "To be transported by Corm Recovery" in section(page(staff), "stopped")
    done(clear(scene.dealer_api(), finding))
    html = page(staff)
    assert 'id="stopped"' not in html
    assert "TU21 ABC" in section(html, "ready")


def test_findings_and_requests_wait_with_the_deadline_most_urgent_first(
    scene: Scene, staff: Client
) -> None:
    workshop = scene.workshop_api()
    job = arrived(scene)
    found(workshop, job, CLICK)
    opened(workshop, job, answer_by=now() + timedelta(days=2), price="38.00")
    found(workshop, job, STOP)
    html = page(staff)
    said = section(html, "you")
    deadline = localtime(now() + timedelta(days=2))
    assert said.index("Machine-polish") < said.index("clicking")
    assert html.index('id="stopped"') < html.index('id="you"')
    assert f"Answer by {deadline:%a %H:}" in said
    assert "Approve 38.00 GBP" in said
    assert "Needs you 2" in said


def test_what_needs_attention_before_sale_stands_before_what_is_for_information(
    scene: Scene, staff: Client
) -> None:
    workshop, job = scene.workshop_api(), arrived(scene)
    found(workshop, job, {**CLICK, "weight": "for_information", "noticed": "A scuffed mat."})
    found(workshop, job, CLICK)
    said = section(page(staff), "you")
    assert said.index("A regular clicking") < said.index("A scuffed mat.")


def test_belongings_are_named_on_no_board(scene: Scene, staff: Client) -> None:
    found(scene.workshop_api(), arrived(scene), PAPERS)
    html = page(staff)
    assert "belongings were found" in section(html, "you")
    assert not [secret for secret in SECRETS if secret in html]


def test_cars_stand_by_stage_with_the_time_they_are_wanted_back(
    scene: Scene, staff: Client
) -> None:
    later = localtime(now() + timedelta(days=3)).replace(hour=16, minute=0)
    posted(scene.dealer_api(), due_at=later.isoformat())
    said = section(page(staff), "all")
    assert "Not at the workshop yet 1" in said
    assert f"wanted back {later:%a} 16:00" in said
    assert "late" not in said


def test_a_car_past_its_time_is_late_in_words_and_one_for_today_is_due_today(
    scene: Scene, staff: Client
) -> None:
    noon = localtime(now()).replace(hour=12, minute=0, second=0, microsecond=0)
    with time_machine.travel(noon, tick=False):
        job = arrived(scene, due_at=(noon + timedelta(hours=2)).isoformat())
        moved(scene.workshop_api(), job, "cleaning")
        assert "due today wanted back 14:00" in section(page(staff), "all")
    with time_machine.travel(noon + timedelta(hours=3), tick=False):
        assert "late wanted back 14:00" in section(page(staff), "all")
        assert "Cleaning 1" in section(page(staff), "all")


def test_a_ready_car_is_not_late(scene: Scene, staff: Client) -> None:
    ready(scene, due_at=(now() - timedelta(hours=1)).isoformat())
    assert "late" not in section(page(staff), "ready")
    assert "late" not in words(page(staff, "/dashboard/?q=TU21"))


def test_collected_cars_are_folded_and_gone_after_two_weeks(scene: Scene, staff: Client) -> None:
    job = ready(scene)
    done(scene.workshop_api().post(f"/jobs/{job['id']}/collection", {"confirm": True}))
    html = page(staff)
    assert "Done lately (1" in html
    assert re.search(r'<details id="lately">.*TU21 ABC.*collected', html, re.DOTALL)
    with time_machine.travel(now() + timedelta(days=15)):
        assert "TU21 ABC" not in page(person_api(scene.staff).client)


def test_a_cancelled_car_at_the_workshop_waits_to_be_taken_away(
    scene: Scene, staff: Client
) -> None:
    job = arrived(scene)
    done(scene.dealer_api().post(f"/work-orders/{job['id']}/cancel"))
    assert "still at Fernhollow Valeting" in section(page(staff), "you")
    with time_machine.travel(now() + timedelta(days=15)):
        later = page(person_api(scene.staff).client)
        assert "still at Fernhollow Valeting" in section(later, "you")


def test_it_tells_what_others_did_since_the_last_look_and_not_what_one_did_oneself(
    scene: Scene, staff: Client
) -> None:
    job = arrived(scene)
    own = staff.post(f"/dashboard/cars/{job['id']}/change", {"notes": "Quick.", "version": "3"})
    assert own.status_code == 303
    said = section(page(staff), "changed")
    assert "TU21 ABC" in said
    assert "The order changed" not in said
    done(scene.dealer_api().patch(f"/work-orders/{job['id']}", {"notes": "Slow."}))
    assert "The order changed: notes." in section(page(staff), "changed")


def test_what_a_tablet_sends_late_is_new_though_it_was_done_before_the_look(
    scene: Scene, staff: Client
) -> None:
    with time_machine.travel(now() - timedelta(hours=3)):
        job = arrived(scene)
        page(person_api(scene.staff).client)
    page(staff)
    done_at = (now() - timedelta(hours=1)).isoformat()
    body = {"to": "cleaning", "version": job["version"], "occurred_at": done_at}
    page(staff)
    staff.post("/dashboard/seen", {"until": now().isoformat()})
    done(scene.workshop_api().post(f"/jobs/{job['id']}/moves", body))
    assert "Moved from intake to cleaning." in section(page(staff), "changed")


def test_half_an_hour_later_what_stood_there_at_the_last_look_is_no_longer_new(
    scene: Scene, staff: Client
) -> None:
    start = now()
    with time_machine.travel(start, tick=False) as clock:
        arrived(scene)
        assert "TU21 ABC" in section(page(staff), "changed")
        clock.shift(timedelta(minutes=20))
        assert "TU21 ABC" in section(page(staff), "changed")
        clock.shift(timedelta(minutes=31))
        assert "Nothing has changed." in section(page(staff), "changed")


def test_looks_of_the_refreshing_part_do_not_count_as_looks(scene: Scene, staff: Client) -> None:
    with time_machine.travel(now(), tick=False) as clock:
        arrived(scene)
        page(staff)
        looked = DashboardLook.objects.get().looked_at
        clock.shift(timedelta(hours=3))
        assert "TU21 ABC" in section(page(staff, "/dashboard/board"), "changed")
        assert DashboardLook.objects.get().looked_at == looked


def test_i_have_seen_all_this_counts_what_was_shown_and_nothing_later(
    scene: Scene, staff: Client
) -> None:
    job = arrived(scene)
    html = page(staff)
    (until,) = re.findall(r'name="until" value="([^"]+)"', html)
    moved(scene.workshop_api(), job, "cleaning")
    answer = staff.post("/dashboard/seen", {"until": until})
    assert answer.status_code == 303
    assert answer.headers["Location"] == "/dashboard/"
    said = section(page(staff), "changed")
    assert "cleaning" in said
    assert "arrived" not in said.lower()


@pytest.mark.parametrize("until", ["", "rubbish", "2026-13-45T99:00:00Z", "2199-01-01T00:00:00Z"])
def test_a_strange_moment_counts_as_now(scene: Scene, staff: Client, until: str) -> None:
    arrived(scene)
    page(staff)
    assert staff.post("/dashboard/seen", {"until": until}).status_code == 303
    assert DashboardLook.objects.get().seen_until <= now()
    assert "Nothing has changed." in section(page(staff), "changed")


@pytest.mark.parametrize("form", ["{}", "W/{}"])
def test_an_unchanged_poll_is_304_and_builds_nothing(
    scene: Scene, staff: Client, form: str
) -> None:
    arrived(scene)
    (tag,) = re.findall(r'data-tag="([^"]+)"', page(staff))
    # That somebody looked counts as well, so the first poll may bring the board once more.
    first = staff.get("/dashboard/board", headers={"If-None-Match": tag.replace("&quot;", '"')})
    tag = form.format(first.headers["ETag"].removeprefix("W/"))
    with CaptureQueriesContext(connection) as queries:
        answer = staff.get("/dashboard/board", headers={"If-None-Match": tag})
    assert answer.status_code == 304
    assert not answer.content
    assert len(queries) <= MOST_QUERIES_UNCHANGED


@pytest.mark.parametrize("weak", [False, True])
def test_a_poll_after_a_change_brings_the_board_with_a_new_tag(
    scene: Scene, staff: Client, *, weak: bool
) -> None:
    job = arrived(scene)
    first = staff.get("/dashboard/board")
    tag = first.headers["ETag"].removeprefix("W/")
    moved(scene.workshop_api(), job, "cleaning")
    answer = staff.get("/dashboard/board", headers={"If-None-Match": f"W/{tag}" if weak else tag})
    assert answer.status_code == 200
    assert "Cleaning" in section(answer.content.decode(), "all")
    assert answer.headers["ETag"] != tag
    again = {"If-None-Match": f"W/{answer.headers['ETag']}" if weak else answer.headers["ETag"]}
    assert staff.get("/dashboard/board", headers=again).status_code == 304


def test_a_car_that_becomes_late_changes_the_tag(scene: Scene, staff: Client) -> None:
    start = now().replace(minute=10)
    with time_machine.travel(start, tick=False) as clock:
        arrived(scene, due_at=(start + timedelta(minutes=5)).isoformat())
        page(staff)
        tag = staff.get("/dashboard/board").headers["ETag"]
        clock.shift(timedelta(minutes=6))
        assert staff.get("/dashboard/board").headers["ETag"] != tag


def test_the_refreshing_part_is_the_same_for_the_same_state_and_holds_no_token(
    scene: Scene, staff: Client
) -> None:
    workshop = scene.workshop_api()
    job = ready(scene)
    found(workshop, job, STOP)
    whole = page(staff)
    first, second = page(staff, "/dashboard/board"), page(staff, "/dashboard/board")
    assert first == second
    assert first in whole
    assert "csrf" not in first


@pytest.mark.parametrize("count", [1, 60])
def test_it_takes_the_same_few_queries_however_many_cars_there_are(
    scene: Scene, staff: Client, count: int
) -> None:
    dealer, workshop = scene.dealer_api(), scene.workshop_api()
    for index in range(count):
        job = posted(
            dealer,
            dealer_ref=f"PX-{index}",
            registration=f"TU21 A{chr(65 + index // 26)}{chr(65 + index % 26)}",
        )
        job = done(workshop.post(f"/jobs/{job['id']}/arrival"))
        found(workshop, job, CLICK)
        opened(workshop, job, hold=True)
    for hours in (0, 1):  # the first look, and one that begins anew
        later = now() + timedelta(hours=hours)
        with time_machine.travel(later), CaptureQueriesContext(connection) as queries:
            html = page(staff)
        assert html.count('value="approve"') == count
        assert html.count("dashboard/findings/") == min(count, MOST_OTHERS)
        assert len(queries) <= MOST_QUERIES, [query["sql"] for query in queries]


@pytest.mark.parametrize(
    "typed", ["tu21abc", "U21 AB", "PX-1042", "px-10", "TU21-ABC"], ids=lambda text: text
)
def test_a_car_is_found_by_part_of_its_mark_or_reference(
    scene: Scene, staff: Client, typed: str
) -> None:
    posted(scene.dealer_api())
    assert "TU21 ABC" in words(page(staff, f"/dashboard/?q={typed}"))


@pytest.mark.parametrize("typed", ["<script>alert(1)</script>", "%25", "_", "JX19"])
def test_a_search_without_a_hit_says_so_and_shows_what_was_typed_as_text(
    scene: Scene, staff: Client, typed: str
) -> None:
    posted(scene.dealer_api())
    html = page(staff, f"/dashboard/?q={typed}")
    assert "No car of yours" in html
    assert "<script>alert" not in html


def test_a_car_that_must_not_be_driven_says_so_where_it_is_found(
    scene: Scene, staff: Client
) -> None:
    found(scene.workshop_api(), arrived(scene), STOP)
    assert "do not drive" in words(page(staff, "/dashboard/?q=TU21"))


def test_a_board_shows_the_first_findings_and_counts_the_others(
    scene: Scene, staff: Client
) -> None:
    workshop, job = scene.workshop_api(), arrived(scene)
    for _ in range(MOST_OTHERS + 2):
        found(workshop, job, CLICK)
    found(workshop, job, STOP)
    html = page(staff)
    acknowledged = re.findall(r'formaction="/dashboard/findings/[^"]+/acknowledge', html)
    assert len(acknowledged) == MOST_OTHERS + 1
    assert "and 2 more to acknowledge" in html
    assert f"Needs you {MOST_OTHERS + 2}" in section(html, "you")


def test_it_shows_no_other_dealers_cars(scene: Scene, staff: Client) -> None:
    posted(key_api(scene.stranger_dealer), registration="JX19 KLM")
    assert "JX19" not in page(staff)
    assert "JX19" not in page(staff, "/dashboard/?q=KLM").replace('value="KLM"', "")


def test_markup_in_what_others_wrote_is_text(scene: Scene, staff: Client) -> None:
    workshop = scene.workshop_api()
    bad = "<script>alert(1)</script>"
    job = ready(scene, make=bad, location=bad, keys=bad, dealer_ref=bad)
    found(workshop, job, CLICK, noticed=bad)
    opened(workshop, job, what=bad)
    done(workshop.post(f"/jobs/{job['id']}/holds", {"cause": "parts", "reason": bad}))
    html = page(staff)
    assert "<script>alert" not in html
    assert html.count("&lt;script&gt;alert") >= 6


def test_nobody_without_a_sign_in_sees_it_and_the_workshop_may_not(scene: Scene) -> None:
    assert Client().get("/dashboard/").status_code == 401
    assert Client().get("/dashboard/board").status_code == 401
    assert person_api(scene.manager).client.get("/dashboard/").status_code == 403


def test_an_order_accepted_by_the_trade_account_is_no_news_one_accepted_by_somebody_is(
    scene: Scene, staff: Client
) -> None:
    posted(scene.dealer_api())
    assert "Nothing has changed." in section(page(staff), "changed")
    scene.account.accepts_by_itself = False
    scene.account.save()
    job = posted(scene.dealer_api(), dealer_ref="X", registration="JX19 KLM")
    done(scene.workshop_api().post(f"/work-orders/{job['id']}/accept"))
    said = section(page(staff), "changed")
    assert "JX19 KLM" in said
    assert "TU21 ABC" not in said
