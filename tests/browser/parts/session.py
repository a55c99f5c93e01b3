"""The sign-in, and what is not there."""

from tests.browser.pages_list import Page

PAGES = (
    Page("sign-in", "nobody", "/sign-in"),
    Page("not-found", "nobody", "/nothing-here"),
)
