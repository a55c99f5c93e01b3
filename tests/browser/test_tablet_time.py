"""Time and weather on the tablet in a real browser: felt, read and told, without network too."""

from typing import Any

import pytest
from playwright.sync_api import Locator, Page, expect

from tests.browser.conftest import PHONE, TABLET
from tests.browser.founded import FoundedDay
from tests.browser.proxy import BadLine
from tests.browser.test_offline import (
    Shop,
    Tablet,
    acting,
    bay,
    day,
    emptied,
    kept,
    line,
    queued,
    same_time,
    shop,
    somebody_else,
    tablet,
)
from tests.browser.test_tablet import BOXES, THUMB_PIXELS
from tests.reliability.service import wait_until

pytestmark = pytest.mark.browser
__all__ = ["Shop", "bay", "day", "line", "shop", "tablet"]  # the fixtures, for pytest to find
CLIMATE = "/tablet/climate"
TWO_DAYS_MS = 2 * 24 * 3600 * 1000


def opened(tablet: Tablet, line: BadLine, path: str) -> Page:
    """Open a page that has been kept, without network."""
    kept(tablet.page, path)
    tablet.offline(offline=True)
    tablet.page.goto(line.url + path)
    return tablet.page


def button(place: Page | Locator, name: str) -> Locator:
    """Return the button whose name begins like this."""
    return place.get_by_role("button", name=name).locator("visible=true")


def typed(page: Page, text: str) -> None:
    """Type on the pad."""
    names = {"-": "Minus", ".": "Point"}
    for sign in text:
        page.locator(".pad").get_by_role("button", name=names.get(sign, sign), exact=True).click()


def read_thermometer(page: Page, air: str, humidity: str) -> None:
    """Take a reading down, by the pad alone."""
    typed(page, air)
    button(page, "Next figure").click()
    typed(page, humidity)
    button(page, "Save this reading").click()


def with_figure(tablet: Tablet, celsius: float) -> list[Any]:
    """Return the readings of the air that have this figure."""
    readings = tablet.read("/workshop/climate?hours=2")["readings"]
    return [reading for reading in readings if reading["celsius"] == celsius]


def acted(
    tablet: Tablet, day: FoundedDay, url: str, *steps: tuple[str, dict[str, Any]]
) -> list[Any]:
    """Do things as the manager over the API, one after the other; return the answers."""
    answers = []
    with somebody_else(tablet) as manager:
        person = {name: day.people["manager"][name] for name in ("email", "password")}
        token = manager.post(f"{url}/api/v1/session", data=person).json()["csrf_token"]
        headers = {"X-CSRFToken": token, "Referer": url}
        for path, body in steps:
            answer = manager.post(f"{url}/api/v1{path}", data=body, headers=headers)
            assert answer.ok, answer.text()
            answers.append(answer.json())
    return answers


def wetted(tablet: Tablet, day: FoundedDay, url: str, job: str) -> str:
    """Finish the extraction of a car's seats just now; return the clock that dries."""
    (task,) = acted(tablet, day, url, (f"/jobs/{job}/tasks", {"operation": "wet_extraction"}))
    path = f"/jobs/{job}/tasks/{task['id']}"
    acted(tablet, day, url, (f"{path}/start", {}), (f"{path}/finish", {}))
    waits = tablet.read(f"/jobs/{job}/waits")["clocks"]
    (clock,) = [wait["id"] for wait in waits if wait["running"] and wait["touch_test"]]
    return str(clock)


def entries_of(tablet: Tablet, job: str, kind: str) -> list[Any]:
    """Return the entries of a kind in a car's history."""
    entries = tablet.read(f"/jobs/{job}/history")["entries"]
    return [entry for entry in entries if entry["kind"] == kind]


def test_a_reading_made_without_network_arrives_once_with_the_time_of_the_tap(
    tablet: Tablet, line: BadLine
) -> None:
    page = opened(tablet, line, CLIMATE)
    acting(page, 1, lambda: read_thermometer(page, "12.5", "61"))
    expect(page.locator("[data-taken]")).to_have_text("Taken down: 12.5 °C, 61 %, in the workshop.")
    page.reload()
    expect(page.locator("[data-waiting-list] li")).to_contain_text("12.5 °C, 61 %, in the workshop")
    (made,) = queued(page)
    line.cut = 1  # the service takes it, and the tablet does not hear of it
    tablet.offline(offline=False)
    emptied(page)
    assert line.lost == 1
    (reading,) = with_figure(tablet, 12.5)
    assert reading["at"] == same_time(made["madeAt"])
    assert (reading["place"], reading["humidity_percent"]) == ("workshop", 61)
    here = page.locator("#now-workshop").locator("..")
    expect(here).to_contain_text("12.5 °C, 61 %")  # the page loads itself anew
    expect(here).to_contain_text("Dew point 5.2 °C")


def test_a_reading_is_looked_at_before_it_is_taken_down(tablet: Tablet, line: BadLine) -> None:
    page = opened(tablet, line, CLIMATE)
    missing, save = page.locator("[data-missing]"), button(page, "Save this reading")
    save.click()
    expect(missing).to_have_text("Give the temperature of the air.")
    typed(page, "-61")
    save.click()
    expect(missing).to_have_text("Give the temperature of the air between -40 and 60 °C.")
    button(page, "Delete").click()
    button(page, "Next figure").click()
    typed(page, "101")
    save.click()
    expect(missing).to_have_text("Give the humidity between 0 and 100 %.")
    assert queued(page) == []
    page.locator("#humidity").fill("88,5")
    page.locator("label[for=at-outside]").click()
    acting(page, 1, save.click)
    expect(missing).to_be_hidden()
    assert queued(page)[0]["says"] == "-6 °C, 88.5 %, outside"
    tablet.offline(offline=False)
    emptied(page)
    (reading,) = with_figure(tablet, -6)
    assert (reading["place"], reading["humidity_percent"]) == ("outside", 88.5)


def test_a_reading_that_is_refused_holds_up_no_other(tablet: Tablet, line: BadLine) -> None:
    page = opened(tablet, line, CLIMATE)
    page.evaluate("document.querySelector('form.act').dataset.lowest = -90")
    acting(page, 1, lambda: read_thermometer(page, "-77", "50"))
    acting(page, 2, lambda: read_thermometer(page, "13.5", "50"))
    tablet.offline(offline=False)
    card = page.locator(".conflict")
    expect(card).to_contain_text("The air: not taken")
    expect(card).to_contain_text("-77 °C is not plausible")
    wait_until(lambda: len(queued(page)) == 1, "the good reading to be sent")
    assert len(with_figure(tablet, 13.5)) == 1
    button(card, "Drop mine").click()
    emptied(page)


def test_still_damp_without_network_gives_more_time_once_it_is_sent(
    tablet: Tablet, line: BadLine, day: FoundedDay
) -> None:
    job = day.places["curing_car"]
    page = opened(tablet, line, f"/tablet/cars/{job}")
    row = page.locator("[data-wait][data-touch]")
    expect(row).to_contain_text("It ought to be dry: feel it now.")
    (clock,) = [wait for wait in tablet_waits(tablet, job) if wait["touch_test"]]
    acting(page, 1, button(row, "Still damp").click)
    expect(row.get_by_text("Felt: still damp.")).to_be_visible()
    expect(row).to_have_attribute("data-waiting", "yes")
    expect(button(row, "Dry")).to_have_count(0)
    page.reload()
    expect(row.get_by_text("Felt: still damp.")).to_be_visible()
    line.cut = 1
    tablet.offline(offline=False)
    emptied(page)
    (entry,) = entries_of(tablet, job, "touch_tested")
    assert entry["data"]["dry"] is False
    (after,) = [wait for wait in tablet_waits(tablet, job) if wait["touch_test"]]
    assert after["ends_at"] > clock["ends_at"]
    expect(button(row, "Still damp")).to_be_visible()  # loaded anew, it is asked about again
    expect(row).not_to_contain_text("Waits to be sent")


def tablet_waits(tablet: Tablet, job: str) -> list[Any]:
    """Return what runs on a car, as the service says; it is asked around the tablet's network."""
    assert tablet.context is not None
    clocks = tablet.read(f"/jobs/{job}/waits")["clocks"]
    return [clock for clock in clocks if clock["running"]]


def test_dry_without_network_lets_the_car_go_on_and_both_arrive_in_order(
    tablet: Tablet, line: BadLine, day: FoundedDay
) -> None:
    job = day.places["washed_car"]
    clock = wetted(tablet, day, line.url, job)
    version = tablet.read(f"/jobs/{job}")["version"]
    for to in ("correction", "curing"):
        moved = (f"/jobs/{job}/moves", {"to": to, "version": version})
        version = acted(tablet, day, line.url, moved)[0]["version"]
    tablet.page.goto(f"{line.url}/tablet/cars/{job}")
    page = opened(tablet, line, f"/tablet/cars/{job}")
    row, go_on = page.locator(f"[data-wait='{clock}']"), button(page, "Move to ready").first
    expect(go_on).to_be_disabled()
    done = page.locator("[data-all-done]")
    expect(done).to_be_hidden()
    acting(page, 1, button(row, "Dry").click)
    expect(done).to_be_visible()
    expect(row.get_by_text("Done", exact=True)).to_be_visible()
    expect(go_on).to_be_enabled()
    go_on.click()
    acting(page, 2, button(page, "Yes, it is ready").click)
    tablet.offline(offline=False)
    emptied(page)
    assert tablet.read(f"/jobs/{job}")["stage"] == "ready"
    kinds = [entry["kind"] for entry in tablet.read(f"/jobs/{job}/history")["entries"]]
    assert kinds[-4:] == ["touch_tested", "wait_moved", "cured", "moved"]


def test_a_touch_test_that_is_dropped_brings_its_row_back(
    tablet: Tablet, line: BadLine, day: FoundedDay
) -> None:
    job = day.places["waiting_car"]
    clock = wetted(tablet, day, line.url, job)
    tablet.page.goto(f"{line.url}/tablet/cars/{job}")
    page = opened(tablet, line, f"/tablet/cars/{job}")
    row = page.locator(f"[data-wait='{clock}']")
    acting(page, 1, button(row, "Dry").click)
    expect(button(row, "Dry")).to_have_count(0)
    drop = page.locator("[data-waiting-list]").get_by_role("button")
    drop.click()
    drop.click()
    wait_until(lambda: queued(page) == [], "the drop")
    expect(button(row, "Dry")).to_be_visible()
    expect(page.locator("[data-all-done]")).to_be_hidden()
    tablet.offline(offline=False)


def test_when_the_last_clock_ends_an_open_page_says_so_and_lets_the_car_go(
    tablet: Tablet, line: BadLine, day: FoundedDay
) -> None:
    job = day.places["second_ready_car"]
    version = tablet.read(f"/jobs/{job}")["version"]
    (task,) = acted(tablet, day, line.url, (f"/jobs/{job}/tasks", {"operation": "trim_dressing"}))
    path = f"/jobs/{job}/tasks/{task['id']}"
    back = {"to": "correction", "version": version, "reason": "The trim is dull."}
    acted(tablet, day, line.url, (f"/jobs/{job}/moves", back),
          (f"{path}/start", {}), (f"{path}/finish", {}))  # fmt: skip
    page = tablet.page
    page.clock.install()
    page.goto(f"{line.url}/tablet/cars/{job}")
    expect(page.locator("[data-wait] h3")).to_have_text("Dress exterior trim")
    expect(button(page, "Move to curing").first).to_be_visible()
    bar = page.locator("[data-wait] progress")
    begun = bar.evaluate("progress => progress.value")
    page.clock.run_for(30 * 60 * 1000)
    assert bar.evaluate("progress => progress.value") > begun
    expect(page.locator("[data-all-done]")).to_be_hidden()
    with page.expect_event("load"):  # it loads itself anew, to be told what the service knows
        page.clock.fast_forward(TWO_DAYS_MS)
        done = page.locator("[data-all-done]")
        expect(done).to_contain_text("All that cured or dried on it is done")
        expect(page.locator("[data-wait]").get_by_text("Done", exact=True)).to_be_visible()
        expect(page.locator("[data-wait-words]:visible")).to_have_count(0)


def test_how_dirty_it_came_in_is_one_tap_and_save_with_and_without_network(
    tablet: Tablet, line: BadLine, day: FoundedDay
) -> None:
    job = day.places["waiting_car"]
    page = opened(tablet, line, f"/tablet/cars/{job}")
    page.locator("label[for=soiling-5]").click()
    acting(page, 1, button(page, "Save how dirty it came in").click)
    page.reload()
    expect(page.locator("#soiling-5")).to_be_checked()
    expect(page.locator("[data-caution-of='5']")).to_be_visible()
    expect(page.locator("[data-waiting-list] li")).to_contain_text("How dirty: Filthy all through")
    tablet.offline(offline=False)
    emptied(page)
    (entry,) = entries_of(tablet, job, "soiling_noted")
    assert entry["data"]["level"] == 5
    expect(page.get_by_text("Filthy all through (5 of 5); tap to say it anew")).to_be_visible()


def test_minutes_nobody_expects_are_answered_by_what_it_really_took(
    tablet: Tablet, line: BadLine, day: FoundedDay
) -> None:
    job = day.places["curing_car"]
    page = opened(tablet, line, f"/tablet/cars/{job}")
    asked = page.locator(".doubt")
    expect(asked).to_contain_text("minutes: is that right?")
    asked.get_by_label("It really took, in minutes").fill("16")
    acting(page, 1, button(asked, "Save the minutes").click)
    expect(asked).to_be_hidden()
    expect(page.get_by_text("Time confirmed.")).to_be_visible()
    tablet.offline(offline=False)
    emptied(page)
    (entry,) = entries_of(tablet, job, "minutes_told")
    assert entry["data"]["minutes"] == 16
    expect(page.locator(".doubt")).to_have_count(0)


def test_the_product_that_went_on_is_chosen_from_those_of_the_workshop(
    tablet: Tablet, line: BadLine, day: FoundedDay
) -> None:
    job = day.places["curing_car"]
    page = opened(tablet, line, f"/tablet/cars/{job}")
    used = page.locator("form.used")
    expect(used.locator("option")).to_have_text(["Fernlow coat"])
    acting(page, 1, button(used, "It went on").click)
    assert queued(page)[0]["says"] == "Went on: Fernlow coat"
    tablet.offline(offline=False)
    emptied(page)
    (entry,) = entries_of(tablet, job, "product_used")
    assert entry["data"]["product"] == "Fernlow coat"
    expect(page.locator("[data-wait] h3", has_text="Fernlow coat")).to_be_visible()


@pytest.mark.parametrize(
    "address", [CLIMATE, "/tablet/cars/{curing_car}", "/tablet/cars/{waiting_car}"]
)
def test_everything_about_time_to_tap_is_a_thumb_wide(
    tablet: Tablet, line: BadLine, day: FoundedDay, address: str
) -> None:
    page = tablet.page
    for size in (TABLET, PHONE):
        page.set_viewport_size(size)  # type: ignore[arg-type]
        page.goto(line.url + address.format(**day.places))
        page.evaluate(
            "document.querySelectorAll('details').forEach(details => details.open = true)"
        )
        boxes = page.evaluate(BOXES)
        assert boxes
        assert [box for box in boxes if min(box[1:]) < THUMB_PIXELS] == []
