"""The air at the desk, and the touch test of what dries."""

from tests.browser.pages_list import Page

PAGES = (
    Page("desk-climate", "manager", "/desk/climate"),
    Page("desk-touch-test", "manager", "/desk/cars/{curing_car}/clocks/{wet_clock}/touch-test"),
    Page("desk-car-curing", "manager", "/desk/cars/{curing_car}"),
    Page("dashboard-car-curing", "staff", "/dashboard/cars/{curing_car}"),
)
