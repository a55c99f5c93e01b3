"""A workshop words its own way of working in a real browser, and the next order has it."""

import pytest
from playwright.sync_api import Page, expect

pytestmark = pytest.mark.browser


def test_an_operation_is_reworded_ordered_and_stands_on_the_job_in_the_new_words(
    desk: Page, dealer: Page
) -> None:
    desk.goto("/desk/")
    desk.get_by_role("link", name="Set up").click()
    desk.get_by_role("link", name="Operations").click()
    desk.get_by_label("Find operations").fill("pet_hair")
    desk.get_by_role("button", name="Find").click()
    desk.get_by_role("link", name="Remove animal hair").click()
    desk.get_by_label("Name").fill("Comb out the dog")
    desk.get_by_label("Minutes of work").fill("55")
    desk.get_by_role("button", name="Save").click()
    expect(desk.get_by_role("status")).to_have_text("Saved: Comb out the dog.")
    expect(desk.get_by_role("listitem").filter(has_text="Comb out the dog")).to_contain_text(
        "your words"
    )

    dealer.goto("/dashboard/new")
    dealer.get_by_label("Registration").fill("JU24 DOG")
    dealer.get_by_text("Single operations").click()
    dealer.get_by_label("Comb out the dog").check()
    dealer.get_by_role("button", name="Send").click()
    expect(dealer.get_by_role("heading", level=1)).to_contain_text("JU24 DOG")
    expect(dealer.get_by_text("Comb out the dog").first).to_be_visible()

    desk.goto("/desk/")
    desk.get_by_role("row").filter(has_text="JU24 DOG").get_by_role("link").click()
    expect(desk.get_by_text("Comb out the dog").first).to_be_visible()
    expect(desk.get_by_text("55").first).to_be_visible()


def test_a_package_is_put_together_hidden_and_shown_again(desk: Page) -> None:
    desk.goto("/desk/packages")
    desk.get_by_role("link", name="Add a package").click()
    desk.get_by_label("Name").fill("Back from the holidays")
    desk.get_by_role("button", name="Add it").click()
    alert = desk.get_by_role("alert")
    expect(alert).to_contain_text("What is in it")
    expect(desk.get_by_label("Name")).to_have_value("Back from the holidays")
    desk.get_by_role("group", name="Cleaning").get_by_label("Vacuum the interior").check()
    desk.get_by_label("Clean all glass").check()
    desk.get_by_role("button", name="Add it").click()
    line = desk.get_by_role("listitem").filter(has_text="Back from the holidays")
    expect(line).to_contain_text("40 minutes")
    line.get_by_role("button", name="Hide Back from the holidays").click()
    hidden = desk.get_by_role("region", name="Hidden")
    hidden.get_by_role("button", name="Show Back from the holidays").click()
    expect(desk.get_by_role("region", name="Hidden")).to_have_count(0)
    expect(desk.get_by_role("status")).to_have_text("Shown again: Back from the holidays.")
