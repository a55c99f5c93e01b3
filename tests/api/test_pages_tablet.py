"""The tablet's pages without a browser: what stands where, for whom, in how many queries."""

import re
from datetime import timedelta
from html import unescape
from typing import Any

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from core.clock import now
from jobs.work.calc.car.areas import AREAS, PANELS
from jobs.work.calc.catalogue.operations import OPERATIONS
from tests.api.asking import asked, opened
from tests.api.found import PAPERS, PHONE, STOP, found
from tests.api.looked import tight
from tests.api.pictures import upload
from tests.api.steps import arrived, detail, done, moved, posted, ready
from tests.figures import without_ids
from tests.scene import Scene, person_api

MOST_QUERIES = 12
MANY = 40
ACTS = (
    "seen", "supplied", "belonging_return", "wiped", "coat", "photo", "walk_round",
    "request", "hold", "collection", "task_add", "task_start", "task_finish", "task_pause",
)  # fmt: skip


@pytest.fixture
def tablet(scene: Scene) -> Client:
    """Return the tablet with the valeter signed in."""
    return person_api(scene.valeter).client


def page(client: Client, address: str, status: int = 200) -> str:
    """Return a page's HTML."""
    answer = client.get(address)
    assert answer.status_code == status, answer.content
    return answer.content.decode()


def car_page(client: Client, job: Any, part: str = "") -> str:
    """Return the page of a car."""
    return page(client, f"/tablet/cars/{job['id']}{part}")


def words(html: str) -> str:
    """Return what stands on the page, in one line."""
    return " ".join(unescape(re.sub(r"<[^>]+>", " ", html)).split())


def forms(html: str, kind: str) -> list[str]:
    """Return the forms of an action."""
    return re.findall(rf'<form class="act[^>]*data-kind="{kind}".*?</form>', html, re.DOTALL)


def shown_moves(html: str) -> list[tuple[str, str]]:
    """Return the moves that are shown: from, to; the large one first."""
    shown = [form for form in forms(html, "move") if " hidden" not in form.partition(">")[0]]
    return [re.findall(r'data-from="(\w+)" data-to="(\w+)"', form)[0] for form in shown]


def queries(client: Client, address: str) -> int:
    """Return how many queries a page takes."""
    with CaptureQueriesContext(
        connection,
    ) as captured:
        page(client, address)
    return len(captured)


def test_an_empty_board_says_what_to_do_first(tablet: Client) -> None:
    html = page(tablet, "/tablet/")
    assert "No cars." in html
    assert "Ask a manager" in html


def test_the_board_lists_cars_in_the_order_to_work_them_with_what_is_next(
    scene: Scene, tablet: Client
) -> None:
    work = scene.workshop_api()
    posted(scene.dealer_api(), dealer_ref="Q-1", registration="TU10 COM")
    ready(scene, dealer_ref="Q-2", registration="TU10 RDY")
    arrived(scene, dealer_ref="Q-3", registration="TU10 NEW")
    held = moved(work, arrived(scene, dealer_ref="Q-4", registration="TU10 HLD"), "cleaning")
    done(work.post(f"/jobs/{held['id']}/holds", {"cause": "parts"}))
    late = {"due_at": (now() + timedelta(hours=9)).isoformat()}
    soon = {"due_at": (now() + timedelta(hours=2)).isoformat()}
    moved(work, arrived(scene, dealer_ref="Q-5", registration="TU10 LTR", **late), "cleaning")
    first = arrived(scene, dealer_ref="Q-6", registration="TU10 SNR", **soon)
    first = moved(work, first, "cleaning")
    task = detail(work, first)["tasks"][0]
    done(work.post(f"/jobs/{first['id']}/tasks/{task['id']}/start"))
    said = words(page(tablet, "/tablet/"))
    order = ["SNR", "LTR", "NEW", "HLD", "COM", "RDY"]
    places = [said.index(f"TU10 {mark}") for mark in order]
    assert places == sorted(places)
    headings = ["To work on", "Here, not begun", "Waiting: on hold", "To come", "Ready, to be"]
    for heading, mark in zip(headings, ["SNR", "NEW", "HLD", "COM", "RDY"], strict=True):
        assert said.index(heading) < said.index(f"TU10 {mark}")
    for step in (
        "Finish: wash and dry the body, running since",
        "Start: wash and dry the body",
        "Walk round it",
        "Waits for parts",
        "Record its arrival",
        "Walk round it before it goes",
    ):
        assert step in said


def test_what_is_over_is_not_on_the_board(scene: Scene, tablet: Client) -> None:
    job = ready(scene)
    done(
        scene.workshop_api().post(
            f"/jobs/{job['id']}/collection", {"reason": "So it is.", "confirm": True}
        )
    )
    assert "No cars." in page(tablet, "/tablet/")


def test_a_page_takes_a_fixed_number_of_queries(scene: Scene, tablet: Client) -> None:
    job = rich_car(scene)
    few = queries(tablet, "/tablet/")
    for index in range(1, MANY):
        arrived(scene, dealer_ref=f"R-{index}", registration=f"UK{10 + index} XYZ")
    assert queries(tablet, "/tablet/") == few <= MOST_QUERIES
    assert page(tablet, "/tablet/").count("data-board-car") == MANY
    for part in ("", "/finding", "/paint"):
        assert queries(tablet, f"/tablet/cars/{job['id']}{part}") <= MOST_QUERIES


def rich_car(scene: Scene) -> Any:
    """Return a car with something of everything."""
    work, dealer = scene.workshop_api(), scene.dealer_api()
    job = arrived(
        scene,
        operations=["wash_body", "touch_in"],
        supplied=["Side marker lens"],
        notes="The customer collects at noon.",
        location="Rear compound, bay 4",
        keys="Hook 12",
        contact_name="Ines Okafor-Lind",
        contact_phone="01234 567890",
        cap_amount="400.00",
        cap_currency="GBP",
    )
    job = moved(work, job, "cleaning", "correction")
    for body in (PAPERS, PHONE, {}):
        found(work, job, body or None)
    done(upload(work, job, moment="before", view="front"))
    request = opened(work, job, price="64.00", hold=False)
    asked(dealer, request)
    spot = {"panel": "bonnet", "material": "steel", "readings": [118, 121, 119]}
    done(work.post(f"/jobs/{job['id']}/paint-readings", {"spots": [spot]}))
    done(dealer.patch(f"/work-orders/{job['id']}", {"keys": "With Ines."}))
    touch_in = next(task for task in detail(work, job)["tasks"] if task["operation"] == "touch_in")
    start = f"/jobs/{job['id']}/tasks/{touch_in['id']}"
    done(work.post(f"{start}/start"))
    done(work.post(f"{start}/coats", {"kind": "colour"}))
    return job


def test_a_car_page_has_everything_that_is_asked_and_known(scene: Scene, tablet: Client) -> None:
    job = rich_car(scene)
    html = car_page(tablet, job)
    said = words(html)
    for sentence in (
        "The customer collects at noon.",
        "Rear compound, bay 4",
        "With Ines.",
        "01234 567890",
        "The dealer changed the order",
        "Side marker lens : not here yet",
        "A regular clicking from a front wheel.",
        "Kept at Office, drawer 3",
        "A paired phone: not wiped.",
        "the dealer asks",
        "Machine-polish the bonnet",
        "Coat 1, colour",
        "flashes off until",
        OPERATIONS["touch_in"].caution,
    ):
        assert sentence in said, sentence
    for kind in ACTS:
        assert forms(html, kind), kind


def test_no_page_of_the_tablet_shows_a_price_to_anybody(scene: Scene) -> None:
    job = rich_car(scene)
    for person in (scene.owner, scene.valeter):
        for part in ("", "/finding", "/paint"):
            html = car_page(person_api(person).client, job, part)
            assert "64.00" not in without_ids(html)
            assert "400" not in without_ids(words(html))
            assert "GBP" not in html
            assert 'name="price"' not in html


def test_the_next_stage_is_one_large_button_and_the_rest_stands_under_other_moves(
    scene: Scene, tablet: Client
) -> None:
    work = scene.workshop_api()
    job = arrived(scene, operations=["wash_body", "polish_spot"])
    html = car_page(tablet, job)
    assert shown_moves(html) == [("intake", "cleaning"), ("intake", "correction")]
    assert tight(html).index(">Move to cleaning<") < tight(html).index("Other moves")
    job = moved(work, job, "cleaning")
    assert shown_moves(car_page(tablet, job))[0] == ("cleaning", "correction")
    job = moved(work, job, "correction")
    html = car_page(tablet, job)
    assert shown_moves(html)[0] == ("correction", "ready")
    (back,) = [
        form for form in forms(html, "move") if 'data-from="correction" data-to="cleaning"' in form
    ]
    assert re.search(r'name="reason"[^>]* required', back)


def test_every_move_is_on_the_page_for_what_is_queued_without_network(
    scene: Scene, tablet: Client
) -> None:
    html = car_page(tablet, arrived(scene))
    ends = set(re.findall(r'data-from="(\w+)" data-to="(\w+)"', html))
    assert {("cleaning", "ready"), ("correction", "curing"), ("curing", "ready")} <= ends
    assert {("ready", "cleaning"), ("curing", "correction")} <= ends


def test_a_manager_may_override_a_running_clock_and_a_valeter_may_not(
    scene: Scene, tablet: Client
) -> None:
    work = scene.workshop_api()
    job = moved(work, arrived(scene, operations=["coating"]), "correction")
    (task,) = detail(work, job)["tasks"]
    for step in ("start", "finish"):
        done(work.post(f"/jobs/{job['id']}/tasks/{task['id']}/{step}"))
    job = moved(work, job, "curing")
    html = car_page(tablet, job)
    assert 'name="override"' not in html
    assert "it can go to ready then" in words(html)
    assert "data-waits disabled>Move to ready" in tight(html)
    assert 'name="override"' in car_page(person_api(scene.manager).client, job)


def test_a_car_to_come_offers_its_arrival_and_keeps_the_rest_ready(
    scene: Scene, tablet: Client
) -> None:
    html = car_page(tablet, posted(scene.dealer_api()))
    assert 'data-arrived="no"' in html
    assert forms(html, "arrival")
    assert forms(html, "task_start")
    assert html.index('data-when="coming"') < html.index('data-when="here"')


def test_a_car_that_must_not_be_driven_says_so_and_its_hold_has_no_release(
    scene: Scene, tablet: Client
) -> None:
    job = moved(scene.workshop_api(), arrived(scene), "cleaning")
    found(scene.workshop_api(), job, STOP)
    html = car_page(tablet, job)
    assert "Do not drive this car." in html
    assert 'data-held="yes"' in html
    assert not forms(html, "release")
    assert "It ends when it is repaired, or somebody transports it." in words(html)
    assert len(forms(html, "clear")) == 2


def test_a_hold_of_ones_own_can_be_released(scene: Scene, tablet: Client) -> None:
    job = moved(scene.workshop_api(), arrived(scene), "cleaning")
    done(scene.workshop_api().post(f"/jobs/{job['id']}/holds", {"cause": "weather"}))
    (release,) = forms(car_page(tablet, job), "release")
    assert f"/api/v1/jobs/{job['id']}/holds/" in release


def test_a_task_somebody_else_is_on_can_be_joined(scene: Scene, tablet: Client) -> None:
    work = scene.workshop_api()
    job = moved(work, arrived(scene), "cleaning")
    first, second = detail(work, job)["tasks"]
    done(person_api(scene.manager).post(f"/jobs/{job['id']}/tasks/{first['id']}/start"))
    done(person_api(scene.valeter).post(f"/jobs/{job['id']}/tasks/{second['id']}/start"))
    html = car_page(tablet, job)
    line = dict(re.findall(r'<li data-task="([\w-]+)"([^>]*)>', html))
    assert 'data-mine="no"' in line[first["id"]]
    assert 'data-mine="no"' not in line[second["id"]]
    assert re.search('data-state="started" +data-started-at="', line[second["id"]])


def test_a_car_that_was_collected_offers_nothing_more(scene: Scene, tablet: Client) -> None:
    job = ready(scene)
    done(
        scene.workshop_api().post(
            f"/jobs/{job['id']}/collection", {"reason": "So it is.", "confirm": True}
        )
    )
    html = car_page(tablet, job)
    assert "This car is over: collected." in words(html)
    assert '<form class="act' not in html


def test_a_cancelled_car_that_stands_here_can_still_be_noted_about_and_collected(
    scene: Scene, tablet: Client
) -> None:
    job = arrived(scene)
    done(scene.dealer_api().post(f"/work-orders/{job['id']}/cancel", {}))
    html = car_page(tablet, job)
    assert forms(html, "collection")
    assert forms(html, "photo")
    assert not forms(html, "move")
    assert not forms(html, "task_start")


def test_the_finding_page_offers_every_area_and_every_phrase(scene: Scene, tablet: Client) -> None:
    job = arrived(scene)
    html = car_page(tablet, job, "/finding")
    assert sorted(re.findall(r'name="area" value="(\w+)"', html)) == sorted(AREAS)
    assert 'value="soft_brake_pedal" data-kind="mechanical" data-weight="do_not_drive"' in html
    (form,) = forms(html, "finding")
    assert f'data-then="/tablet/cars/{job["id"]}"' in form


def test_the_paint_page_draws_every_panel_with_what_was_measured(
    scene: Scene, tablet: Client
) -> None:
    job = rich_car(scene)
    html = car_page(tablet, job, "/paint")
    assert sorted(re.findall(r'name="panel" value="(\w+)" data-says', html)) == sorted(PANELS)
    assert re.search(r'for="panel-bonnet".*?<strong data-figure>119</strong>', tight(html))
    assert "118, 121, 119" in html
    assert "cutting or" in words(html)


def test_the_paint_page_asks_for_films_and_tests_in_the_apis_own_words(
    scene: Scene, tablet: Client
) -> None:
    job = arrived(scene, colour="Arctic white")
    api, path = scene.workshop_api(), f"/jobs/{job['id']}"
    rest = ("roof", "tailgate", "left_front_door", "right_front_door", "left_front_wing")
    spots = [{"panel": panel, "material": "steel", "readings": [115] * 3} for panel in rest]
    thick = {"panel": "right_front_wing", "material": "steel", "readings": [240] * 3}
    done(api.post(f"{path}/paint-readings", {"spots": [*spots, thick]}))
    html = car_page(tablet, job, "/paint")
    said = words(html)
    assert "Film, wrap or repaint: check for a film first." in said
    assert "Paint system: not sure. No test yet" in said
    (film,) = forms(html, "paint_film")
    assert re.findall(r'name="film" value="(\w+)"', film) == ["no", "yes", "not_asked"]
    assert film.count('value="right_front_wing"') == 2  # at once, since it asks, and in the list
    (test,) = forms(html, "paint_test")
    assert re.search(r'id="white-yes"[^>]*checked', test)  # the order says so
    for field in ("panel", "white_paint", "rubbed_with", "pad_colour", "look", "darkens_when_wet"):
        assert f'name="{field}"' in test
    done(api.post(f"{path}/paint-films", {"film": "no"}))
    peeling = {"panel": "roof", "pad_colour": "nothing", "rubbed_with": "dark_cloth"}
    done(api.post(f"{path}/paint-tests", {**peeling, "look": "peeling"}))
    said = words(car_page(tablet, job, "/paint"))
    assert "check for a film first" not in said
    assert "Peeling paint cannot be polished back" in said
    assert "Paint system: clear over base." in said
    assert "a dark cloth, nothing of the paint, peeling" in said


def test_an_empty_paint_page_says_how_many_panels_are_needed(scene: Scene, tablet: Client) -> None:
    said = words(car_page(tablet, arrived(scene), "/paint"))
    assert "With 5 panels of one metal or more the survey compares them." in said


def test_a_stored_script_is_shown_as_text(scene: Scene, tablet: Client) -> None:
    bad = "<script>alert(1)</script>"
    job = moved(scene.workshop_api(), arrived(scene, notes=bad, supplied=[bad]), "cleaning")
    found(scene.workshop_api(), job, noticed=bad)
    for part in ("", "/finding", "/paint"):
        assert bad not in car_page(tablet, job, part)
    assert unescape(car_page(tablet, job)).count(bad) >= 3


def test_another_workshops_car_is_not_there(scene: Scene, tablet: Client) -> None:
    scene.account = scene.stranger_account
    job = posted(scene.dealer_api())
    addresses = [f"/tablet/cars/{job['id']}{part}" for part in ("", "/finding", "/paint")]
    assert [tablet.get(address).status_code for address in addresses] == [404, 404, 404]
