"""How long work takes, at the desk."""

from tests.browser.pages_list import Page

PAGES: tuple[Page, ...] = (
    Page(name="desk-durations", who="manager", address="/desk/durations"),
    Page(name="desk-estimate", who="manager", address="/desk/cars/{car}/estimate"),
    Page(name="desk-estimate-done", who="owner", address="/desk/cars/{curing_car}/estimate"),
    Page(name="desk-durations-dirty", who="owner", address="/desk/durations?soiling=4"),
)
