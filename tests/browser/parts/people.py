"""The person at the tablet, one's own PIN and password, people, dealers, keys, tablets."""

from tests.browser.pages_list import Page

PAGES = (
    Page("tablet-who", "valeter", "/tablet/who"),
    Page("me", "valeter", "/me"),
    Page("me-pin", "valeter", "/me/pin"),
    Page("me-password", "staff", "/me/password"),
    Page("desk-people", "owner", "/desk/people"),
    Page("desk-person-new", "manager", "/desk/people/new"),
    Page("desk-person", "manager", "/desk/people/{person}"),
    Page("desk-dealers", "owner", "/desk/dealers"),
    Page("desk-dealer-new", "manager", "/desk/dealers/new"),
    Page("desk-dealer", "manager", "/desk/dealers/{account}"),
    Page("desk-dealer-person", "manager", "/desk/dealers/{unstaffed}/person"),
    Page("desk-tablets", "owner", "/desk/tablets"),
    Page("desk-tablet", "owner", "/desk/tablets/{device}"),
    Page("keys", "staff", "/keys"),
    Page("key-new", "manager", "/keys/new"),
    Page("key", "staff", "/keys/{key}"),
)
