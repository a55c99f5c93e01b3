"""A dealer sends cars in a real browser, by form and as lists, and none of them twice.

On a day of their own: the board of the other tests is not to have 500 cars more.
"""

from pathlib import Path

import pytest
from playwright.sync_api import Browser, BrowserContext, expect

from tests.browser.test_dashboard import context, day
from tests.reliability.service import Service

pytestmark = pytest.mark.browser
__all__ = ["context", "day"]  # the fixtures, for pytest to find
MOST_LINES = 500


def test_a_car_is_sent_by_form_and_a_double_press_sends_it_once(
    context: BrowserContext, service: Service
) -> None:
    tab = context.new_page()
    tab.goto(f"{service.url}/dashboard/new")
    tab.get_by_label("VIN", exact=False).first.wait_for(state="attached")
    tab.get_by_label("Registration").fill("tj22 zzz")
    tab.get_by_label("Full valet").check()
    tab.get_by_label("Wanted back").fill("2099-03-05T16:00")
    tab.get_by_role("button", name="Send", exact=True).dblclick()
    expect(tab.get_by_role("heading", level=1)).to_contain_text("TJ22 ZZZ")
    tab.goto(f"{service.url}/dashboard/?q=TJ22ZZZ")
    expect(tab.get_by_role("link", name="TJ22 ZZZ")).to_have_count(1)


def test_a_list_of_500_goes_on_though_the_line_breaks_and_the_page_is_closed(
    context: BrowserContext, service: Service, tmp_path: Path
) -> None:
    lines = [
        f"L-{index},TU{10 + index // 26} {chr(65 + index % 26)}LV" for index in range(MOST_LINES)
    ]
    lines[7] = "L-7,"
    sheet = tmp_path / "cars.csv"
    sheet.write_text("\n".join(["dealer_ref,registration", *lines]))
    tab = context.new_page()
    tab.route("**/go-on", lambda route: route.abort())
    tab.goto(f"{service.url}/dashboard/imports/new")
    tab.get_by_label("The file").set_input_files(sheet)
    tab.get_by_role("button", name="Send the list").click()
    expect(tab.get_by_text("of 500 lines are done")).to_be_visible()
    address = tab.url
    tab.close()

    again = context.new_page()
    # One that finds the service busy asks again; before, it showed the first lines for ever.
    again.route("**/go-on", lambda route: route.fulfill(status=503), times=1)
    again.goto(address)
    said = again.get_by_role("status")
    expect(said).to_contain_text("499 of 500 cars are with the workshop; 1 was refused.")
    expect(again.get_by_role("heading", name="Refused 1")).to_be_visible()
    with again.expect_download() as download:
        again.get_by_role("link", name="Download the refused lines").click()
    text = Path(download.value.path()).read_text()
    assert "L-7" in text
    assert len(text.splitlines()) == 2


def test_without_a_script_a_list_is_taken_in_by_pressing_a_button(
    browser: Browser, context: BrowserContext, service: Service, tmp_path: Path
) -> None:
    sheet = tmp_path / "few.csv"
    sheet.write_text("dealer_ref,registration\n" + "\n".join(f"N-{n},UK6{n} ZZA" for n in range(3)))
    bare = browser.new_context(java_script_enabled=False, storage_state=context.storage_state())
    tab = bare.new_page()
    tab.goto(f"{service.url}/dashboard/imports/new")
    tab.get_by_label("The file").set_input_files(sheet)
    tab.get_by_role("button", name="Send the list").click()
    tab.wait_for_url("**/imports/*")
    if (go_on := tab.get_by_role("button", name="Go on")).count():  # else a worker was quicker
        go_on.click()
    expect(tab.get_by_text("3 of 3 cars are with the workshop.")).to_be_visible()
    bare.close()
