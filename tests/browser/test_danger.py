"""A "do not drive" on the tablet: seen at once by whoever sent it, and sent before all else."""

from collections.abc import Callable

import pytest
from playwright.sync_api import Page, expect

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
    kinds_since,
    line,
    moved_meanwhile,
    queued,
    shop,
    tablet,
    tap,
)
from tests.reliability.service import wait_until

pytestmark = pytest.mark.browser
__all__ = ["Shop", "bay", "day", "line", "shop", "tablet"]  # the fixtures, for pytest to find
RED = "Do not drive this car."


def stopped(page: Page, url: str, job: str) -> None:
    """Report that the brake pedal sinks, as a valeter taps it."""
    page.goto(f"{url}/tablet/cars/{job}/finding")
    page.locator("label[for=at-brakes]").click()
    page.locator("[data-fitting]").get_by_text("sinks under a steady foot").click()
    page.get_by_role("button", name="Send the finding").click()
    page.wait_for_url(f"**/tablet/cars/{job}")


def is_stopped(page: Page) -> None:
    """Check that the page says so, and offers no move and no start."""
    expect(page.locator("[data-danger-line]")).to_contain_text(RED)
    expect(page.locator("form.next button:visible")).to_have_count(0)
    expect(page.locator("form.start button:visible")).to_have_count(0)


def kept_from(page: Page, path: str) -> Callable[[], None]:
    """Stop what is posted to a path, until the answer is called."""
    page.context.route(f"**{path}", lambda route: route.abort())
    return lambda: page.context.unroute(f"**{path}")


def test_the_senders_own_page_says_so_from_the_tap_on_and_after_it_is_sent(
    tablet: Tablet, line: BadLine, day: FoundedDay
) -> None:
    job, page = day.places["waiting_car"], tablet.page
    go = kept_from(page, f"/api/v1/jobs/{job}/findings")
    stopped(page, line.url, job)  # its page is there before the finding is
    is_stopped(page)
    expect(page.locator("[data-waiting-list] li")).to_contain_text("Do not drive: brakes")
    go()
    emptied(page)
    assert tablet.read(f"/jobs/{job}")["on_hold"] is True
    is_stopped(page)
    expect(page.locator("[data-hold]")).to_contain_text("On hold")  # it loads itself anew
    page.reload()
    is_stopped(page)


def test_without_network_it_shows_everywhere_and_outlasts_the_browser(
    tablet: Tablet, line: BadLine, day: FoundedDay
) -> None:
    job, page = day.places["car"], tablet.page
    car = f"/tablet/cars/{job}"
    kept(page, car, f"{car}/finding", "/tablet/")
    tablet.offline(offline=True)
    stopped(page, line.url, job)
    is_stopped(page)
    page.reload()
    is_stopped(page)
    page.goto(f"{line.url}/tablet/")
    row = page.locator(f"[data-board-car='{job}']")
    expect(row).to_contain_text("Do not drive")
    tablet.close()
    page = tablet.open()
    tablet.offline(offline=True)
    page.goto(f"{line.url}{car}")
    is_stopped(page)
    (waiting,) = queued(page)
    assert waiting["says"] == "Do not drive: brakes"
    tablet.offline(offline=False)
    emptied(page)
    assert tablet.read(f"/jobs/{job}")["on_hold"] is True
    is_stopped(page)


def test_it_overtakes_a_conflict_of_its_own_car(
    tablet: Tablet, line: BadLine, day: FoundedDay
) -> None:
    job, page = day.places["washed_car"], tablet.page
    kept(page, f"/tablet/cars/{job}", f"/tablet/cars/{job}/finding")
    tablet.offline(offline=True)
    page.goto(f"{line.url}/tablet/cars/{job}")
    acting(page, 1, lambda: tap(page, ".next:not(.reasoned)"))
    steps = [{"path": "moves", "body": {"to": to}} for to in ("correction", "curing")]
    moved_meanwhile(tablet, day, line.url, job, *steps)
    tablet.offline(offline=False)
    expect(page.locator(".conflict")).to_be_visible()
    stopped(page, line.url, job)
    wait_until(lambda: len(queued(page)) == 1, "the finding to pass the conflict")
    assert tablet.read(f"/jobs/{job}")["on_hold"] is True
    assert [action["kind"] for action in queued(page)] == ["move"]
    is_stopped(page)


def test_it_is_sent_first_though_tapped_last_and_what_came_before_it_follows(
    tablet: Tablet, line: BadLine, day: FoundedDay
) -> None:
    job, held_job, page = day.places["curing_car"], day.places["held_car"], tablet.page
    kept(
        page, *(f"/tablet/cars/{car}{rest}" for car in (job, held_job) for rest in ("", "/finding"))
    )
    before = len(tablet.read(f"/jobs/{job}/history")["entries"])
    tablet.offline(offline=True)
    page.goto(f"{line.url}/tablet/cars/{held_job}")
    acting(page, 1, lambda: tap(page, "[data-kind=release]"))
    page.goto(f"{line.url}/tablet/cars/{job}")
    acting(page, 2, page.get_by_role("button", name="Still damp").first.click)
    stopped(page, line.url, job)
    tablet.offline(offline=False)
    emptied(page)
    kinds = [entry["kind"] for entry in kinds_since(tablet, job, before)]
    assert kinds[:2] == ["finding", "held"]
    assert "touch_tested" in kinds
    assert tablet.read(f"/jobs/{held_job}")["on_hold"] is False


def test_the_same_move_by_two_people_is_no_conflict_and_the_rest_goes_on(
    tablet: Tablet, line: BadLine, day: FoundedDay
) -> None:
    job, page = day.places["second_ready_car"], tablet.page
    version = tablet.read(f"/jobs/{job}")["version"]
    back = {"path": "moves", "body": {"to": "cleaning", "reason": "Streaks.", "version": version}}
    moved_meanwhile(tablet, day, line.url, job, back)
    kept(page, f"/tablet/cars/{job}")
    page.goto(f"{line.url}/tablet/cars/{job}")
    tablet.offline(offline=True)
    acting(page, 1, lambda: tap(page, ".next[data-to=correction]:not(.reasoned)"))
    acting(page, 2, lambda: page.get_by_role("button", name="Waits for parts").click())
    same = {"path": "moves", "body": {"to": "correction"}}
    moved_meanwhile(tablet, day, line.url, job, same)
    tablet.offline(offline=False)
    emptied(page)
    expect(page.locator(".conflict")).to_have_count(0)
    kinds = [entry["kind"] for entry in tablet.read(f"/jobs/{job}/history")["entries"]]
    assert kinds[-2:] == ["moved", "held"]
