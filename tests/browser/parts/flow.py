"""Where cars wait."""

from tests.browser.pages_list import Page

PAGES: tuple[Page, ...] = (
    Page(name="flow", who="manager", address="/desk/flow"),
    Page(name="flow-nothing", who="owner", address="/desk/flow?since=2020-01-01&until=2020-02-01"),
)
