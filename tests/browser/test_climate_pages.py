"""The air, products and touch tests at the desk in a real browser, and what the dealer sees."""

import pytest
from playwright.sync_api import Page, expect

from tests.browser.founded import FoundedDay

pytestmark = pytest.mark.browser


def test_a_reading_is_written_down_and_what_is_wrong_with_it_is_said_first(desk: Page) -> None:
    desk.goto("/desk/")
    desk.get_by_role("link", name="Set up").click()
    desk.get_by_role("link", name="The air").click()
    desk.get_by_role("link", name="Write a reading down").click()
    desk.get_by_label("Outside", exact=True).check()
    desk.get_by_label("Temperature of the air").fill("-1.5")
    desk.get_by_label("Humidity of the air").fill("910")
    desk.get_by_role("button", name="Write it down").click()
    expect(desk.get_by_role("alert")).to_contain_text("910 % is not plausible")
    expect(desk.get_by_label("Temperature of the air")).to_have_value("-1.5")
    expect(desk.get_by_label("Outside", exact=True)).to_be_checked()
    desk.get_by_label("Humidity of the air").fill("91")
    desk.get_by_role("button", name="Write it down").click()
    expect(desk.get_by_role("status")).to_have_text("The reading is written down.")
    outside = desk.get_by_role("article").filter(has_text="Outside")
    expect(outside).to_contain_text("-1.5 °C, 91 % humidity")
    expect(outside).to_contain_text("Just now")
    expect(outside).to_contain_text("likely")


def test_the_readings_can_be_read_with_the_keyboard_and_are_drawn_without_words(
    desk: Page,
) -> None:
    desk.goto("/desk/climate")
    table = desk.get_by_role("region", name="The readings hour by hour")
    table.focus()
    expect(table).to_be_focused()
    expect(table.get_by_role("row")).not_to_have_count(1)
    drawn = desk.locator("figure.chart svg").first
    expect(drawn).to_be_visible()
    assert desk.get_by_role("figure").count() == 0  # the table says the same


def test_what_a_workshop_chooses_stands_when_it_is_opened_again(desk: Page) -> None:
    desk.goto("/desk/climate")
    desk.get_by_label("A car in curing becomes ready by itself").check()
    desk.get_by_label("a fan on it").check()
    desk.get_by_text("What the address has to answer").click()
    expect(desk.get_by_text('"rain_chance_percent"').first).to_be_visible()
    desk.get_by_role("button", name="Save").click()
    expect(desk.get_by_role("status")).to_have_text("Saved.")
    desk.goto("/desk/climate")
    expect(desk.get_by_label("A car in curing becomes ready by itself")).to_be_checked()
    expect(desk.get_by_label("a fan on it")).to_be_checked()


def test_seats_are_felt_at_the_desk_first_damp_then_dry_and_the_dealer_reads_it(
    desk: Page, dealer: Page, day: FoundedDay
) -> None:
    car = day.places["curing_car"]
    desk.goto("/desk/")
    expect(desk.get_by_text("1 touch test due.")).to_be_visible()
    desk.goto("/desk/waiting")
    waiting = desk.get_by_role("region", name="On us")
    waiting.get_by_role("link", name="Felt it").click()
    desk.get_by_role("button", name="Write it down").click()
    expect(desk.get_by_role("alert")).to_contain_text("What the hand felt")
    desk.get_by_label("Still damp").check()
    desk.get_by_label("Where, if it matters").fill("Rear bench")
    desk.get_by_role("button", name="Write it down").click()
    expect(desk.get_by_role("status")).to_contain_text("It gets more time")
    cures = desk.get_by_role("region", name="Cures and dries")
    expect(cures).not_to_contain_text("touch test due")
    cures.get_by_role("link", name="Felt it").click()
    desk.get_by_label("Dry", exact=True).check()
    desk.get_by_role("button", name="Write it down").click()
    expect(desk.get_by_role("status")).to_contain_text("found dry")
    expect(desk.get_by_role("link", name="Felt it")).to_have_count(0)

    dealer.goto(f"/dashboard/cars/{car}")
    story = dealer.get_by_role("region", name="What happened")
    expect(story).to_contain_text(
        "Felt by hand, wet extraction of seats and carpets: still damp. Rear bench."
    )
    expect(story).to_contain_text("Felt by hand, wet extraction of seats and carpets: dry.")
    where = dealer.get_by_role("region", name="Where it is")
    expect(where).to_contain_text("Apply a hard coating: cures")


def test_a_manager_lets_a_car_pass_and_the_dealer_is_warned_on_the_board(
    desk: Page, dealer: Page, day: FoundedDay
) -> None:
    car = day.places["curing_car"]
    desk.goto(f"/desk/cars/{car}/move")
    expect(desk.get_by_text("Cures or dries until")).to_be_visible()
    desk.get_by_label("ready", exact=True).check()
    desk.get_by_label("Let it go on").check()
    desk.get_by_label("Reason").fill("It goes straight into a showroom.")
    desk.get_by_role("button", name="Move the car").click()
    dealer.goto("/dashboard/")
    card = (
        dealer.get_by_role("listitem").filter(has_text="TJ17 HND").filter(has_text="to be fetched")
    )
    expect(card).to_contain_text("Keep it from rain and frost until then.")
    dealer.goto(f"/dashboard/cars/{car}")
    where = dealer.get_by_role("region", name="Where it is")
    expect(where).to_contain_text("the workshop let it go on all the same.")
    expect(where).to_contain_text("It goes straight into a showroom.")


def test_a_product_is_added_from_its_sheet_hidden_and_shown_again(desk: Page) -> None:
    desk.goto("/desk/products")
    desk.get_by_role("link", name="Add a product").click()
    desk.get_by_label("Name").fill("Larchmoor glaze")
    desk.get_by_role("button", name="Add it").click()
    expect(desk.get_by_role("alert")).to_contain_text("Cures for, minutes")
    expect(desk.get_by_label("Name")).to_have_value("Larchmoor glaze")
    desk.get_by_label("Cures for, minutes").fill("90")
    desk.get_by_label("Used in").select_option(label="Dress exterior trim")
    desk.get_by_role("button", name="Add it").click()
    line = desk.get_by_role("listitem").filter(has_text="Larchmoor glaze")
    expect(line).to_contain_text("cures 1 h 30 min at 15 °C")
    expect(line).to_contain_text("No sheet is named.")
    line.get_by_role("button", name="Hide Larchmoor glaze").click()
    hidden = desk.get_by_role("region", name="Hidden")
    hidden.get_by_role("button", name="Show Larchmoor glaze").click()
    expect(desk.get_by_role("status")).to_have_text("Shown again: Larchmoor glaze.")
