"""What cures and dries on cars, as the desk and the dealer read it, and touch tests at the desk."""

from datetime import datetime, timedelta
from html import unescape
from typing import Any

import pytest
import time_machine
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from jobs.work.models import TouchTest, WaitClock
from jobs.work.services.curing.settling import clocks_work_out
from tests.api.air import foretold, text
from tests.api.clock_steps import (
    EIGHT,
    after,
    ends_of,
    every_half_hour,
    felt,
    finished,
    in_curing,
    measured,
)
from tests.api.desk import MOST_QUERIES, mark, signed_in, text_of
from tests.api.looked import section, words
from tests.api.steps import arrived, detail, done, moved
from tests.scene import Scene

pytestmark = pytest.mark.django_db


def wet(scene: Scene, number: int = 1) -> Any:
    """Return a car in curing whose seats were wetted now, with its clock as `clock`."""
    job = in_curing(scene, "wet_extraction", registration=mark(number), dealer_ref=f"PX-{number}")
    (clock,) = detail(scene.workshop_api(), job)["clocks"]
    return {**job, "clock": clock}


def test_what_stands_still_comes_first_then_what_has_to_be_felt(scene: Scene) -> None:
    with time_machine.travel(EIGHT, tick=False) as clock:
        measured(scene, (EIGHT, 15.0), humidity=60)
        cold = in_curing(scene, "trim_dressing", registration=mark(1), dealer_ref="PX-1")
        soaked, warm = wet(scene, 2), wet(scene, 3)
        WaitClock.objects.filter(job=cold["id"]).update(
            halted="too_cold", earliest_at=None, ends_at=None
        )
        WaitClock.objects.filter(job=warm["id"]).update(ends_at=after(hours=30))
        due = max(datetime.fromisoformat(soaked["clock"]["ends_at"]), after(hours=1))
        clock.move_to(due + timedelta(minutes=1))
        answer = signed_in(scene.manager).get("/desk/climate")
    rows = [wait.clock.job.pk.hex for wait in answer.context["waits"]]
    assert rows == [job["id"].replace("-", "") for job in (cold, soaked, warm)]
    page = section(answer.content.decode(), "waits")
    assert "stands still: too cold" in page
    assert "no end can be told in such air" in page
    assert "1 touch test due." in page
    assert page.count("Felt it") == 2


def test_where_there_is_too_much_for_one_page_what_stands_still_is_not_left_out(
    scene: Scene, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("jobs.desk.selectors.curing.MOST_CLOCKS", 1)
    wet(scene, 1)
    cold = wet(scene, 2)
    WaitClock.objects.filter(job=cold["id"]).update(
        halted="too_damp", earliest_at=None, ends_at=None
    )
    answer = signed_in(scene.manager).get("/desk/climate")
    assert [str(wait.clock.job_id) for wait in answer.context["waits"]] == [cold["id"]]
    assert "Only 1 are shown" in answer.content.decode()


def test_a_touch_test_at_the_desk_ends_the_clock_or_gives_it_more_time(scene: Scene) -> None:
    with time_machine.travel(EIGHT, tick=False) as clock:
        job = wet(scene)
        path = f"/desk/cars/{job['id']}/clocks/{job['clock']['id']}/touch-test"
        clock.move_to(after(hours=1))
        desk = signed_in(scene.manager)
        form = text_of(desk.get(path))
        assert "Press a dry hand" in form
        assert "Wet extraction of seats and carpets" in form
        nothing = text_of(desk.post(path, {"note": "Rear bench"}), 400)
        assert 'id="dry-wrong"' in nothing
        assert 'value="Rear bench"' in nothing
        damp = text_of(desk.post(path, {"dry": "false", "note": "Rear bench"}, follow=True))
        assert "still damp (Wet extraction of seats and carpets). It gets more time" in damp
        assert "Felt by hand, wet extraction of seats and carpets: still damp. Rear bench." in damp
        row = WaitClock.objects.get(pk=job["clock"]["id"])
        assert ends_of(row) > datetime.fromisoformat(job["clock"]["ends_at"])
        dry = text_of(desk.post(path, {"dry": "true"}, follow=True))
        assert "found dry (Wet extraction of seats and carpets)." in dry
        assert "It was found dry before." in text_of(desk.get(path))
        # Somebody may have been quicker: the second hand is written down as well.
        assert desk.post(path, {"dry": "true"}).status_code == 303
    row.refresh_from_db()
    assert row.closed_at == after(hours=1)
    assert [test.dry for test in TouchTest.objects.order_by("pk")] == [False, True, True]


def test_what_ends_by_itself_takes_no_touch_test(scene: Scene) -> None:
    job = in_curing(scene, "trim_dressing")
    (clock,) = detail(scene.workshop_api(), job)["clocks"]
    path = f"/desk/cars/{job['id']}/clocks/{clock['id']}/touch-test"
    desk = signed_in(scene.manager)
    assert "ends by itself; nobody has to feel it" in text_of(desk.get(path))
    assert "nobody has to feel it" in text_of(desk.post(path, {"dry": "true"}), 409)
    elsewhere = arrived(scene, registration=mark(7), dealer_ref="PX-7")
    foreign_path = f"/desk/cars/{elsewhere['id']}/clocks/{clock['id']}/touch-test"
    assert desk.get(foreign_path).status_code == 404


def test_the_desks_car_page_says_between_when_by_what_and_when_it_may_go_outside(
    scene: Scene,
) -> None:
    with time_machine.travel(EIGHT, tick=False):
        product = {"name": "Larchmoor balm", "reference_minutes": 150, "operation": "trim_dressing"}
        done(scene.workshop_api().post("/products", product))
        job = in_curing(scene, "trim_dressing")
        task = detail(scene.workshop_api(), job)["tasks"][0]["id"]
        kept = done(scene.workshop_api().get("/products"))["products"][0]["id"]
        use = {"product_id": kept, "task_id": task}
        done(scene.workshop_api().post(f"/jobs/{job['id']}/uses", use))
        desk = signed_in(scene.manager)
        shown = section(text_of(desk.get(f"/desk/cars/{job['id']}")), "waits")
    assert "Larchmoor balm (Dress exterior trim) : cures" in shown
    assert "Done between 09:46 and 10:30" in shown
    assert "At least 0 % done" in shown
    assert "Nobody measured the air: reckoned with 15 to 20 °C in the workshop." in shown
    assert "Keep it from rain and frost until 10:30. There is no forecast." in shown
    assert "There is no forecast." in shown
    assert "own data sheet outranks these times." in shown


def test_a_dry_forecast_lets_it_cure_outside_and_rain_keeps_it_in(scene: Scene) -> None:
    with time_machine.travel(EIGHT, tick=False):
        measured(scene, (EIGHT, 15.0))
        job = in_curing(scene, "trim_dressing")
        sections = []
        for rain, made in ((5, after(hours=-2)), (80, after(hours=-1))):
            foreseen = foretold(*[15.0] * 24, issued_at=text(made), rain_chance_percent=rain)
            for hour in foreseen["hours"]:
                hour["humidity_percent"] = 60
            done(scene.workshop_api().post("/workshop/climate", {"forecast": foreseen}))
            page = text_of(signed_in(scene.manager).get(f"/desk/cars/{job['id']}"))
            sections.append(section(page, "waits"))
    assert (
        "It can go outside from 08:00 while it stays dry: out there it has cured by" in sections[0]
    )
    assert "is at most 5 % in any hour and 5 to 15 % in all, with neither frost nor" in sections[0]
    assert "It can go outside" not in sections[1]
    assert "The chance of rain is more than 20 % before" in sections[1]


@pytest.mark.parametrize("rain", [None, 2, 10, 80])
def test_every_page_and_answer_says_the_same_of_rain(scene: Scene, rain: int | None) -> None:
    """The times too: nobody reads that it is kept dry until one and stands in rain from another."""
    with time_machine.travel(EIGHT, tick=False):
        measured(scene, (EIGHT, 15.0))
        job = in_curing(scene, "trim_dressing")
        if rain is not None:
            made = text(after(hours=-1))
            foreseen = foretold(*[12.0] * 24, issued_at=made, rain_chance_percent=rain)
            for hour in foreseen["hours"]:
                hour["humidity_percent"] = 55
            done(scene.workshop_api().post("/workshop/climate", {"forecast": foreseen}))
        answer = done(scene.workshop_api().get(f"/jobs/{job['id']}/waits"))["outside"]
        tablet = signed_in(scene.valeter)
        pages = [
            text_of(tablet.get(f"/tablet/cars/{job['id']}")),
            text_of(signed_in(scene.manager).get(f"/desk/cars/{job['id']}")),
            text_of(signed_in(scene.staff).get(f"/dashboard/cars/{job['id']}")),
        ]
    assert all(answer["words"] in unescape(page) for page in pages)
    until = datetime.fromisoformat(answer["keep_dry_until"])
    assert answer["words"].startswith(f"Keep it from rain and frost until {until:%H:%M}. ")


def test_work_that_is_left_and_cures_has_a_word_where_the_air_speaks_against_it(
    scene: Scene,
) -> None:
    workshop = scene.workshop_api()
    roof: dict[str, Any] = {"code": "roof_wax", "name": "Wax the roof", "stage": "correction"}
    roof |= {"standard_minutes": 20, "waits": "cure", "wait_minutes": 60}
    done(workshop.post("/operations", roof))
    balm: dict[str, Any] = {"name": "Larchmoor balm", "operation": "trim_dressing"}
    balm |= {"reference_minutes": 150, "apply_from_celsius": 14}
    done(workshop.post("/products", balm))
    with time_machine.travel(EIGHT, tick=False) as clock:
        work = ["wash_body", "trim_dressing", "roof_wax"]
        job = moved(workshop, arrived(scene, operations=work), "correction")
        measured(scene, (EIGHT, 12.0), humidity=60)
        rows = _cautions(scene, job)
        assert rows["wash_body"] == rows["roof_wax"] == []
        (cold,) = rows["trim_dressing"]
        assert cold.startswith("Larchmoor balm: The air (nobody measured the surface) has 12.0 °C")
        page = words(text_of(signed_in(scene.manager).get(f"/desk/cars/{job['id']}")))
        assert "Not in this air. Larchmoor balm: The air" in page
        clock.move_to(after(minutes=10))
        measured(scene, (after(minutes=10), 12.0), humidity=95)
        rows = _cautions(scene, job)
        assert [len(rows[code]) for code in work] == [0, 2, 1]
        assert "the dew point is 11.2 °C" in rows["roof_wax"][0]
        finished(workshop, job, "roof_wax")
        assert _cautions(scene, job)["roof_wax"] == []
        clock.move_to(after(hours=2, minutes=11))
        assert _cautions(scene, job)["trim_dressing"] == []


def _cautions(scene: Scene, job: Any) -> dict[str, list[str]]:
    """Return by operation what the desk's page of a car says against work that is left."""
    answer = signed_in(scene.manager).get(f"/desk/cars/{job['id']}")
    return {row.task.operation: list(row.cautions) for row in answer.context["car"].tasks}


def test_a_car_on_which_nothing_runs_has_no_such_section(scene: Scene) -> None:
    job = arrived(scene)
    page = text_of(signed_in(scene.manager).get(f"/desk/cars/{job['id']}"))
    assert 'id="waits"' not in page


def test_the_first_page_says_when_a_hand_or_a_thermometer_is_wanted(scene: Scene) -> None:
    with time_machine.travel(EIGHT, tick=False) as clock:
        assert "The air, and what waits for it" not in text_of(
            signed_in(scene.manager).get("/desk/")
        )
        measured(scene, (EIGHT, 15.0), humidity=60)
        job = wet(scene)
        assert "The air, and what waits for it" not in text_of(
            signed_in(scene.manager).get("/desk/")
        )
        clock.move_to(after(hours=13))
        WaitClock.objects.filter(job=job["id"]).update(ends_at=after(hours=13))
        page = words(text_of(signed_in(scene.manager).get("/desk/")))
        assert "1 touch test due." in page
        assert "the air in the workshop was measured last 13 hours ago." in page
        assert "touch test due Wet extraction of seats and carpets" in page
        part = words(text_of(signed_in(scene.manager).get("/desk/cars")))
        assert "1 touch test due." in part
        done(felt(scene.workshop_api(), job, job["clock"], dry=True))
        page = words(text_of(signed_in(scene.manager).get("/desk/")))
    assert "touch test" not in page
    assert "measured last" not in page


def test_where_nobody_ever_measured_the_first_page_says_so_while_something_cures(
    scene: Scene,
) -> None:
    in_curing(scene, "trim_dressing")
    page = words(text_of(signed_in(scene.manager).get("/desk/")))
    assert "the air in the workshop was never measured." in page


def test_a_touch_test_that_is_due_waits_on_us_with_a_button_beside_what_still_cures(
    scene: Scene,
) -> None:
    with time_machine.travel(EIGHT, tick=False) as clock:
        job = in_curing(scene, "wet_extraction", "trim_dressing")
        drying, cure = detail(scene.workshop_api(), job)["clocks"]
        WaitClock.objects.filter(pk=cure["id"]).update(
            ends_at=None, earliest_at=None, halted="too_cold"
        )
        clock.move_to(datetime.fromisoformat(drying["ends_at"]) + timedelta(minutes=1))
        page = text_of(signed_in(scene.manager).get("/desk/waiting"))
    assert f'href="/desk/cars/{job["id"]}/clocks/{drying["id"]}/touch-test"' in page
    assert "Ought to be dry by now, and nobody has felt it" in section(page, "us")
    assert "Dress exterior trim: curing, stands still: it is too cold" in section(page, "time")


def test_the_dealer_reads_what_cures_why_it_moved_and_when_it_may_stand_outside(
    scene: Scene,
) -> None:
    """Told were 180 minutes of 15 °C; at 12 °C they are 180 * 2 ** 0.3 = 221.6 (ASTM F1980)."""
    with time_machine.travel(EIGHT, tick=False) as clock:
        job = in_curing(scene, "trim_dressing")
        clock.move_to(after(hours=2))
        measured(scene, *every_half_hour(EIGHT, after(hours=2), 12.0))
        assert clocks_work_out(workshop_id=scene.workshop.pk)
        dealer = signed_in(scene.staff)
        page = text_of(dealer.get(f"/dashboard/cars/{job['id']}"))
        board = words(text_of(dealer.get("/dashboard/")))
    shown = words(page)
    assert "Something on it still cures or dries." in shown
    assert "Dress exterior trim : cures, done 11:41 ." in shown
    moved_on = (
        "What cures or dries on the car is done later than was told: by 11:41 on Mon 1 Mar. "
        "The air is measured now: 12.0 °C in the workshop."
    )
    assert shown.count(moved_on) == 2  # beside what cures, and in the history
    assert moved_on in board
    assert "Keep it from rain and frost until 11:41. There is no forecast." in shown
    assert "% done" not in shown
    assert "cures or dries until 11:41" in board


def test_what_may_be_too_cold_has_no_end_but_a_time_before_which_it_is_not_done(
    scene: Scene,
) -> None:
    """Measured last three hours ago, at 3 °C: it may have that still, or up to 20 °C."""
    with time_machine.travel(EIGHT, tick=False):
        measured(scene, (after(hours=-3), 3.0))
        job = in_curing(scene, "trim_dressing")
        shown = words(text_of(signed_in(scene.staff).get(f"/dashboard/cars/{job['id']}")))
        desk = section(text_of(signed_in(scene.manager).get(f"/desk/cars/{job['id']}")), "waits")
    assert "cures, not done before 10:07" in shown
    assert "it may stand still: too cold. No end can be told before that changes" in shown
    assert "may stand still: too cold not before 10:07" in desk
    assert "no end can be told in such air" in desk


def test_the_dealer_reads_that_a_manager_let_a_car_pass_and_why(scene: Scene) -> None:
    with time_machine.travel(EIGHT, tick=False) as clock:
        job = in_curing(scene, "trim_dressing")
        desk = signed_in(scene.manager)
        form = text_of(desk.get(f"/desk/cars/{job['id']}/move"))
        assert "Cures or dries until" in form
        typed = {"to": "ready", "version": job["version"], "override": "on"}
        typed["reason"] = "It goes straight into a showroom."
        assert desk.post(f"/desk/cars/{job['id']}/move", typed).status_code == 303
        dealer = signed_in(scene.staff)
        shown = words(text_of(dealer.get(f"/dashboard/cars/{job['id']}")))
        board = words(text_of(dealer.get("/dashboard/")))
        clock.move_to(after(hours=4))
        later = words(text_of(signed_in(scene.staff).get(f"/dashboard/cars/{job['id']}")))
    let_pass = "the workshop let it go on all the same. Milo Treen, 08:00 : It goes straight"
    assert let_pass in shown
    assert "Something on it still cures or dries until 11:00 . Keep it from rain and frost" in board
    assert "Keep it from rain and frost until 11:00." in shown
    assert "let it go on all the same" not in later
    assert "Moved to ready while something still cured or dried, by a manager." in later


def test_the_pages_take_as_many_queries_for_ten_cars_as_for_one(scene: Scene) -> None:
    desk, dealer = signed_in(scene.manager), signed_in(scene.staff)

    def taken(client: Client, address: str) -> int:
        with CaptureQueriesContext(connection) as queries:
            assert client.get(address).status_code == 200
        return len(queries)

    job = wet(scene, 0)
    measured(scene, (EIGHT - timedelta(days=1), 12.0))
    done(scene.workshop_api().post("/workshop/climate", {"forecast": foretold()}))
    addresses = [
        (desk, "/desk/climate"),
        (desk, "/desk/"),
        (desk, "/desk/waiting"),
        (desk, f"/desk/cars/{job['id']}"),
        (dealer, f"/dashboard/cars/{job['id']}"),
        (dealer, "/dashboard/"),
    ]
    dealer.get("/dashboard/")  # the first look is written down
    few = [taken(*visit) for visit in addresses]
    for number in range(1, 6):
        wet(scene, number)
    added = done(scene.workshop_api().post(f"/jobs/{job['id']}/tasks", {"operation": "coating"}))
    assert added
    finished(scene.workshop_api(), moved(scene.workshop_api(), job, "correction"), "coating")
    assert [taken(*visit) for visit in addresses] == few
    assert max(few) <= MOST_QUERIES
