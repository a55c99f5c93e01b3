"""The person at the tablet, one's own PIN and password, people, dealers, keys, tablets."""

from tests.browser.pages_list import Page

PAGES = (
    Page("tablet-who", "valeter", "/tablet/who"),
    Page("me", "valeter", "/me"),
    Page("me-pin", "valeter", "/me/pin"),
    Page("me-password", "staff", "/me/password"),
)
