"""The dealer's dashboard, an order's forms, and a list of cars."""

from tests.browser.pages_list import Page

PAGES: tuple[Page, ...] = (
    Page(name="dashboard", who="staff", address="/dashboard/"),
    Page(name="dashboard-search", who="staff", address="/dashboard/?q=TU21"),
    Page(name="dashboard-nothing-found", who="staff", address="/dashboard/?q=nothing"),
    Page(name="dashboard-car", who="staff", address="/dashboard/cars/{car}"),
    Page(name="dashboard-car-ready", who="staff", address="/dashboard/cars/{ready_car}"),
    Page(name="dashboard-car-held", who="staff", address="/dashboard/cars/{held_car}"),
    Page(name="dashboard-car-coming", who="staff", address="/dashboard/cars/{coming_car}"),
    Page(name="order-new", who="staff", address="/dashboard/new"),
    Page(name="order-change", who="staff", address="/dashboard/cars/{car}/change"),
    Page(name="order-cancel", who="staff", address="/dashboard/cars/{car}/cancel"),
    Page(name="order-import-new", who="staff", address="/dashboard/imports/new"),
    Page(name="order-import", who="staff", address="/dashboard/imports/{import}"),
    Page(name="dashboard-clear", who="staff", address="/dashboard/findings/{finding}/clear"),
)
