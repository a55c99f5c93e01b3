"""Ten seconds to undo a tap, and a question before a car is called ready with work open."""

import re

import pytest
from playwright.sync_api import Locator, Page, expect

from tests.browser.conftest import PHONE, TABLET
from tests.browser.founded import FoundedDay
from tests.browser.proxy import BadLine
from tests.browser.test_danger import stopped
from tests.browser.test_offline import (
    Shop,
    Tablet,
    acting,
    bay,
    day,
    emptied,
    kinds_since,
    line,
    queued,
    same_time,
    shop,
    somebody_else,
    tablet,
    tap,
)
from tests.browser.test_tablet import THUMB_PIXELS
from tests.reliability.service import wait_until
from tests.scene import order

pytestmark = pytest.mark.browser
__all__ = ["Shop", "bay", "day", "line", "shop", "tablet"]  # the fixtures, for pytest to find
# A page whose taps can be undone for long enough that a busy machine is no excuse.
LONGER = (
    "new MutationObserver((_, seen) => {"
    " const meta = document.querySelector('meta[name=undo-seconds]');"
    " if (meta) { meta.content = '600'; seen.disconnect(); }"
    "}).observe(document, {childList: true, subtree: true})"
)
PASSED = """() => new Promise((resolve) => {
  const open = indexedDB.open("shutline-tablet");
  open.onsuccess = () => {
    const whole = open.result.transaction("actions", "readwrite");
    const store = whole.objectStore("actions");
    store.getAll().onsuccess = (event) =>
      event.target.result.forEach((action) => store.put({ ...action, notBefore: 0 }));
    whole.oncomplete = () => { open.result.close(); resolve(true); };
  };
})"""


@pytest.fixture
def page(tablet: Tablet) -> Page:
    """Return the tablet's window, where a tap can be undone for ten minutes."""
    tablet.page.add_init_script(LONGER)
    return tablet.page


def bar(page: Page) -> Locator:
    return page.locator("[data-undo]")


def undo(page: Page, what: str) -> None:
    page.get_by_role("button", name=f"Undo: {what}").click()


def entries(tablet: Tablet, job: str) -> int:
    return len(tablet.read(f"/jobs/{job}/history")["entries"])


def brought(tablet: Tablet, day: FoundedDay, url: str, mark: str, *, arrived: bool = True) -> str:
    """Order another car, as the dealer, to be washed, glass and all; return its job's id."""
    with somebody_else(tablet) as dealer:
        staff = {name: day.people["staff"][name] for name in ("email", "password")}
        token = dealer.post(f"{url}/api/v1/session", data=staff).json()["csrf_token"]
        headers = {"X-CSRFToken": token, "Referer": url}
        body = order(registration=mark, dealer_ref=mark, operations=["wash_body", "glass"])
        answer = dealer.post(f"{url}/api/v1/work-orders", data=body, headers=headers)
        assert answer.ok, answer.text()
        job = str(answer.json()["id"])
    if arrived:
        assert tablet.context is not None
        headers["X-CSRFToken"] = tablet.read("/session")["csrf_token"]
        address = f"{url}/api/v1/jobs/{job}/arrival"
        assert tablet.context.request.post(address, data={}, headers=headers).ok
    return job


def test_a_tap_is_undone_before_it_is_sent_and_the_page_is_as_it_was(
    tablet: Tablet, page: Page, line: BadLine, day: FoundedDay
) -> None:
    job = day.places["waiting_car"]
    before = entries(tablet, job)
    page.goto(f"{line.url}/tablet/cars/{job}")
    acting(page, 1, lambda: tap(page, ".next"))
    expect(bar(page)).to_contain_text("Move to cleaning")
    expect(bar(page)).to_contain_text(re.compile(r"sent in \d+ s"))
    expect(page.locator(".steps [aria-current]")).to_have_text("cleaning")
    for size in (TABLET, PHONE):
        page.set_viewport_size(size)  # type: ignore[arg-type]
        box = bar(page).get_by_role("button").bounding_box()
        assert box is not None
        assert min(box["width"], box["height"]) >= THUMB_PIXELS
    undo(page, "Move to cleaning")
    expect(bar(page)).to_contain_text("Undone: Move to cleaning.")
    expect(page.locator(".steps [aria-current]")).to_have_text("intake")
    expect(page.locator("p.todo")).to_be_visible()
    assert queued(page) == []
    assert entries(tablet, job) == before


def test_undoing_the_first_takes_what_rests_on_it_and_says_so(
    tablet: Tablet, page: Page, line: BadLine, day: FoundedDay
) -> None:
    job = day.places["washed_car"]
    before = entries(tablet, job)
    page.goto(f"{line.url}/tablet/cars/{job}")
    acting(page, 1, lambda: tap(page, ".start"))
    acting(page, 2, lambda: tap(page, ".next:not(.reasoned)"))
    page.get_by_label("What exactly it waits for").fill("Wheel trim to come.")
    acting(page, 3, page.get_by_role("button", name="Waits for parts").click)
    expect(bar(page)).to_contain_text("Undo takes back as well: Hold:")
    undo(page, "Move to")
    expect(bar(page)).to_contain_text("and with it: Hold:")
    (left,) = queued(page)
    assert left["kind"] == "task_start"  # it does not rest on the move
    page.evaluate(PASSED)
    page.reload()
    emptied(page)
    assert [entry["kind"] for entry in kinds_since(tablet, job, before)] == ["task_started"]


def test_a_closed_browser_loses_nothing_and_it_keeps_the_time_of_the_tap(
    tablet: Tablet, page: Page, line: BadLine, day: FoundedDay
) -> None:
    job = day.places["car"]
    before = entries(tablet, job)
    page.goto(f"{line.url}/tablet/cars/{job}")
    acting(page, 1, lambda: tap(page, ".start"))
    (made,) = queued(page)
    page.evaluate(PASSED)
    tablet.close()
    page = tablet.open()
    page.goto(f"{line.url}/tablet/")
    emptied(page)
    (entry,) = kinds_since(tablet, job, before)
    assert entry["occurred_at"] == same_time(made["madeAt"])


def test_what_is_being_sent_is_not_undone_and_said_to_be_too_late(
    tablet: Tablet, page: Page, line: BadLine, day: FoundedDay
) -> None:
    """Undo and sending meet in the store on the tablet, and one of them gets it."""
    job = day.places["car"]
    before = entries(tablet, job)
    page.goto(f"{line.url}/tablet/cars/{job}")
    acting(page, 1, lambda: tap(page, ".start"))
    button = bar(page).get_by_role("button")
    expect(button).to_be_visible()
    claimed = PASSED.replace("notBefore: 0", 'begun: "{}"')
    page.evaluate(claimed)
    page.evaluate("""async () => {
      const { undo, all } = await import(document.querySelector('script[src*="tablet.js"]').src
        .replace("tablet.js", "queue.js"));
      window.went = await undo((await all())[0].tap);
    }""")
    assert page.evaluate("window.went") is None
    assert len(queued(page)) == 1
    page.evaluate(PASSED.replace("notBefore: 0", "notBefore: 0, begun: null"))
    page.reload()
    emptied(page)
    assert [entry["kind"] for entry in kinds_since(tablet, job, before)] == ["task_started"]


def test_two_windows_know_of_the_same_ten_seconds(
    tablet: Tablet, page: Page, line: BadLine, day: FoundedDay
) -> None:
    job = day.places["held_car"]
    before = entries(tablet, job)
    page.goto(f"{line.url}/tablet/cars/{job}")
    assert tablet.context is not None
    second = tablet.context.new_page()
    second.goto(f"{line.url}/tablet/")
    acting(page, 1, lambda: tap(page, "[data-kind=release]"))
    expect(bar(second)).to_contain_text("Release")
    undo(second, "Release")
    expect(bar(page)).to_be_hidden()
    assert queued(page) == []
    assert entries(tablet, job) == before
    second.close()


def test_who_leaves_sends_what_they_did(
    tablet: Tablet, page: Page, line: BadLine, day: FoundedDay
) -> None:
    job = day.places["coming_car"]
    before = entries(tablet, job)
    page.goto(f"{line.url}/tablet/cars/{job}")
    acting(page, 1, lambda: tap(page, "[data-kind=arrival]"))
    page.get_by_role("link", name="Change person").click()
    page.wait_for_url("**/tablet/who*")
    wait_until(lambda: entries(tablet, job) == before + 1, "the arrival to be sent")
    assert [entry["kind"] for entry in kinds_since(tablet, job, before)] == ["arrived"]


def test_a_do_not_drive_waits_for_no_undo_and_takes_its_cars_arrival_along(
    tablet: Tablet, page: Page, line: BadLine, day: FoundedDay
) -> None:
    job = brought(tablet, day, line.url, "JT21 FEN", arrived=False)
    page.goto(f"{line.url}/tablet/cars/{job}")
    acting(page, 1, lambda: tap(page, "[data-kind=arrival]"))
    stopped(page, line.url, job)
    emptied(page)
    assert tablet.read(f"/jobs/{job}")["on_hold"] is True


def test_ready_with_tasks_open_is_asked_once_by_two_big_buttons(
    tablet: Tablet, page: Page, line: BadLine, day: FoundedDay
) -> None:
    job = brought(tablet, day, line.url, "JT21 GEN")
    version = tablet.read(f"/jobs/{job}")["version"]
    page.goto(f"{line.url}/tablet/cars/{job}")
    acting(page, 1, lambda: tap(page, ".next"))
    page.locator("summary", has_text="Other moves").click()
    ready = page.locator("form.next[data-to=ready] button:visible").first
    ready.click()
    asked = page.locator("dialog.question")
    expect(asked).to_contain_text("2 of 2 tasks are open.")
    expect(asked.locator("input, textarea, select")).to_have_count(0)
    for size in (TABLET, PHONE):
        page.set_viewport_size(size)  # type: ignore[arg-type]
        for button in asked.get_by_role("button").all():
            box = button.bounding_box()
            assert box is not None
            assert box["height"] >= THUMB_PIXELS
    asked.get_by_role("button", name="No, go back").click()
    assert len(queued(page)) == 1
    ready.click()
    acting(page, 2, asked.get_by_role("button", name="Yes, it is ready").click)
    page.evaluate(PASSED)
    page.reload()
    emptied(page)
    expect(page.locator(".conflict")).to_have_count(0)
    now = tablet.read(f"/jobs/{job}")
    assert (now["stage"], now["version"]) == ("ready", version + 2)
    data = tablet.read(f"/jobs/{job}/history")["entries"][-1]["data"]
    assert (data["tasks_open"], data["tasks"]) == (2, 2)
