"""The tablet on a bad line and in a hurry: what may go wrong between a tap and its answer."""

from typing import Any

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
    line,
    queued,
    shop,
    tablet,
    tap,
)
from tests.reliability.service import wait_until

pytestmark = pytest.mark.browser
__all__ = ["bay", "day", "line", "shop", "tablet"]  # the fixtures, for pytest to find
KEPT_CARS = """() => caches.open("shutline-pages").then(pages => pages.keys())
  .then(keys => keys.filter(key => key.url.includes("/cars/")).length)"""
FULL = """() => { IDBObjectStore.prototype.add = () => {
  throw new DOMException("The disk is full.", "QuotaExceededError"); }; }"""
HOLD_REASON = "What exactly it waits for"
# The second tap meets whatever button has come to the place of the first.
DOUBLE = """() => {
  const tap = () => document.querySelector("form.next:not([hidden]) button").click();
  tap();
  return new Promise(done => setTimeout(() => { tap(); setTimeout(done, 300); }, 200));
}"""
# Two taps with no time between them: the first may come too late to count as the second.
TWICE = "button => { button.click(); if (!button.disabled) button.click(); }"
STAY = "() => { document.body.dataset.noReload = ''; }"


def opened(tablet: Tablet, line: BadLine, job: str) -> Page:
    """Open a car that has been kept."""
    kept(tablet.page, f"/tablet/cars/{job}")
    tablet.page.goto(f"{line.url}/tablet/cars/{job}")
    expect(tablet.page.locator("[data-net]")).to_contain_text("Online")
    return tablet.page


def answer(status: str, content_type: str, body: str, more: str = "") -> bytes:
    """Return an answer as it is on the line."""
    head = f"HTTP/1.1 {status}\r\nContent-Type: {content_type}\r\nContent-Length: {len(body)}\r\n"
    return f"{head}{more}Connection: close\r\n\r\n{body}".encode()


BUSY = answer("503 Service Unavailable", "text/plain", "busy", "Retry-After: 1\r\n")
GUEST_NETWORK = answer("200 OK", "text/html", "<h1>Welcome to our Wi-Fi</h1>")
SIGNED_IN_ANEW = answer(
    "403 Forbidden",
    "application/problem+json",
    '{"detail": "Not shown to come from our page.", "next_step": "Send csrf_token again."}',
)


def test_a_busy_service_and_a_guest_network_lose_nothing_and_change_no_byte(
    tablet: Tablet, line: BadLine, day: FoundedDay
) -> None:
    job = day.places["held_car"]
    page = opened(tablet, line, job)
    before = len(tablet.read(f"/jobs/{job}/history")["entries"])
    line.keys.clear()
    line.instead = [BUSY, GUEST_NETWORK, SIGNED_IN_ANEW]
    tap(page, "[data-kind=release]")
    wait_until(lambda: len(line.keys) == 4, "four attempts")
    emptied(page)
    assert len(set(line.keys)) == 1
    kinds = [entry["kind"] for entry in tablet.read(f"/jobs/{job}/history")["entries"][before:]]
    assert kinds == ["released"]


def test_a_page_older_than_what_was_sent_shows_it_all_the_same(
    tablet: Tablet, line: BadLine, day: FoundedDay
) -> None:
    job = day.places["waiting_car"]
    page = opened(tablet, line, job)
    page.evaluate(STAY)
    tap(page, ".next")
    emptied(page)
    expect(page.locator(".steps [aria-current]")).to_have_text("cleaning")
    tablet.offline(offline=True)  # before anything newer got here
    assert tablet.read(f"/jobs/{job}")["stage"] == "cleaning"
    page.reload()
    assert page.locator("[data-car]").get_attribute("data-version") == "3"
    expect(page.locator(".steps [aria-current]")).to_have_text("cleaning")
    assert page.locator("[data-waiting]").count() == 0
    tap(page, ".next:not(.reasoned)")
    acting(page, 1, page.get_by_role("button", name="Yes, it is ready").click)
    tablet.offline(offline=False)
    emptied(page)  # made against what was sent before, not against the old page
    assert tablet.read(f"/jobs/{job}")["stage"] != "cleaning"


def test_two_taps_in_a_row_on_one_place_move_the_car_once(
    tablet: Tablet, line: BadLine, day: FoundedDay
) -> None:
    job = day.places["coming_car"]
    page = opened(tablet, line, job)
    tablet.offline(offline=True)
    acting(page, 1, lambda: tap(page, "[data-kind=arrival]"))
    expect(page.locator("form.next:visible button").first).to_be_enabled()
    page.evaluate(DOUBLE)
    assert [action["kind"] for action in queued(page)] == ["arrival", "move"]
    acting(page, 3, lambda: tap(page, ".next:not(.reasoned)"))
    tablet.offline(offline=False)
    emptied(page)


def test_what_is_dropped_before_it_went_makes_nothing_after_it_a_conflict(
    tablet: Tablet, line: BadLine, day: FoundedDay
) -> None:
    job = day.places["second_ready_car"]
    page = opened(tablet, line, job)
    tablet.offline(offline=True)
    for count, words in enumerate(("Weather by mistake.", "Trim to come."), start=1):
        page.get_by_label(HOLD_REASON).fill(words)
        button = page.get_by_role("button", name="Waits for parts")
        acting(page, count, button.click)
    waiting = page.locator("[data-waiting-list]")
    expect(waiting.locator("li")).to_have_count(2)
    waiting.get_by_role("button", name="Drop").first.click()
    expect(waiting.locator("li")).to_have_count(2)  # one tap, or a drop of water, is not enough
    waiting.locator("li").first.get_by_role("button", name="drop").evaluate(TWICE)
    wait_until(lambda: len(queued(page)) == 1, "one left")
    tablet.offline(offline=False)
    emptied(page)
    held = tablet.read(f"/jobs/{job}")["holds"]
    assert [hold["reason"] for hold in held] == ["Trim to come."]


def test_what_cannot_be_stored_stays_as_it_was_typed(
    tablet: Tablet, line: BadLine, day: FoundedDay
) -> None:
    page = opened(tablet, line, day.places["ready_car"])
    page.evaluate(FULL)
    page.get_by_label(HOLD_REASON).fill("Number plate to come.")
    page.get_by_role("button", name="Waits for parts").click()
    expect(page.get_by_role("alert")).to_contain_text("Not kept on this tablet: The disk is full.")
    assert page.get_by_label(HOLD_REASON).input_value() == "Number plate to come."
    assert queued(page) == []


def test_a_line_that_hangs_opens_the_page_as_it_was_kept(
    tablet: Tablet, line: BadLine, day: FoundedDay
) -> None:
    job = day.places["car"]
    page = opened(tablet, line, job)
    line.hang = True
    try:
        page.goto(f"{line.url}/tablet/cars/{job}")
        expect(page.locator("h1 .mark")).to_have_text("TU21 ABC")
    finally:
        line.hang = False


def test_a_list_that_says_the_same_is_shown_as_of_now_and_not_sent_again(
    tablet: Tablet, line: BadLine
) -> None:
    page = tablet.page
    page.goto(f"{line.url}/tablet/")
    kept(page, "/tablet/")
    made = page.locator("meta[name=made]").get_attribute("content")
    before = line.unchanged

    def is_unchanged() -> bool:
        page.reload()
        expect(page.get_by_role("heading", level=1)).to_have_text("Today's cars")
        return line.unchanged > before

    wait_until(is_unchanged, "a list that was not sent again")
    expect(page.locator("meta[name=kept]")).to_have_count(0)
    assert page.locator("meta[name=made]").get_attribute("content") != made
    assert page.locator("[data-board-car]").count() > 0


def test_a_page_that_was_never_kept_says_what_to_do(tablet: Tablet, line: BadLine) -> None:
    page = tablet.page
    kept(page, "/tablet/")
    tablet.offline(offline=True)
    page.goto(f"{line.url}/tablet/cars/01890000-0000-7000-8000-000000000000")
    expect(page.get_by_role("heading", level=1)).to_contain_text("No network")
    page.get_by_role("link", name="Today's cars").click()
    expect(page.get_by_role("heading", level=1)).to_have_text("Today's cars")
    expect(page.locator("[data-net]")).to_contain_text("No network · page of")


def test_a_stopped_service_is_no_network_and_its_return_brings_the_page_up_to_date(
    tablet: Tablet, shop: Shop, line: BadLine, day: FoundedDay
) -> None:
    page = opened(tablet, line, day.places["car"])
    shop.stop()
    page.reload()
    expect(page.locator("[data-net]")).to_contain_text("No network · page of")
    made = page.locator("meta[name=made]").get_attribute("content")
    shop.start()
    expect(page.locator("[data-net]")).to_contain_text("Online")
    wait_until(
        lambda: page.locator("meta[name=made]").get_attribute("content") != made, "a newer page"
    )


def test_a_sign_in_that_ran_out_forgets_the_pages_and_keeps_what_waits(
    tablet: Tablet, line: BadLine, day: FoundedDay
) -> None:
    job = day.places["car"]
    page = opened(tablet, line, job)
    line.instead = [BUSY] * 50
    acting(page, 1, lambda: tap(page, ".start"))
    assert page.evaluate(KEPT_CARS) > 0
    person = {name: day.people["valeter"][name] for name in ("email", "password")}
    assert tablet.context is not None
    tablet.context.clear_cookies()
    page.goto(f"{line.url}/tablet/cars/{job}")
    expect(page.get_by_label("Password")).to_be_visible()
    wait_until(lambda: page.evaluate(KEPT_CARS) == 0, "the pages forgotten")
    assert len(queued(page)) == 1
    line.instead = []
    assert tablet.context.request.post(f"{line.url}/api/v1/session", data=person).ok
    page.goto(f"{line.url}/tablet/")
    emptied(page)


def test_over_an_address_that_is_not_secure_the_queue_works_and_says_what_does_not(
    tablet: Tablet, line: BadLine, day: FoundedDay
) -> None:
    job = day.places["curing_car"]
    assert tablet.context is not None
    tablet.context.add_init_script(
        "delete Navigator.prototype.serviceWorker; delete Navigator.prototype.locks;"
        "delete Crypto.prototype.randomUUID; delete window.caches;"
    )
    page = tablet.context.new_page()
    page.goto(f"{line.url}/tablet/cars/{job}")
    expect(page.get_by_text("This address is not secure")).to_be_visible()
    before = tablet.read(f"/jobs/{job}/history")["entries"]
    page.get_by_label(HOLD_REASON).fill("Sun.")
    page.get_by_role("button", name="Waits for weather").click()
    emptied(page)
    after: list[dict[str, Any]] = tablet.read(f"/jobs/{job}/history")["entries"]
    assert [entry["kind"] for entry in after[len(before) :]] == ["held"]


def test_an_answer_that_comes_after_the_sign_out_is_kept_nowhere(
    tablet: Tablet, line: BadLine, day: FoundedDay
) -> None:
    """What was asked for while somebody was signed in may arrive when they have gone."""
    page = opened(tablet, line, day.places["curing_car"])
    kept_at = "() => caches.match('/tablet/climate').then(Boolean)"
    held = line.held
    line.hang = True
    page.evaluate("window.late = fetch('/tablet/climate').then((answer) => answer.status); 0")
    wait_until(lambda: line.held > held, "the request to be on its way")
    page.evaluate("caches.delete('shutline-pages')")  # as every page does where nobody is signed in
    line.hang = False
    assert page.evaluate("window.late") == 200
    assert page.evaluate(kept_at) is False
    page.evaluate("fetch('/tablet/climate')")
    wait_until(lambda: page.evaluate(kept_at), "the next to be kept")
