"""How long work takes, at the desk."""

from tests.browser.pages_list import Page

PAGES: tuple[Page, ...] = (
    Page(name="desk-durations", who="manager", address="/desk/durations"),
    Page(name="desk-durations-dirty", who="owner", address="/desk/durations?soiling=4"),
)
