"""The tablet in the wash bay."""

from tests.browser.pages_list import Page

PAGES: tuple[Page, ...] = (
    Page(name="tablet", who="valeter", address="/tablet/"),
    Page(name="tablet-climate", who="valeter", address="/tablet/climate"),
    Page(name="tablet-car", who="valeter", address="/tablet/cars/{car}"),
    Page(name="tablet-car-coming", who="valeter", address="/tablet/cars/{coming_car}"),
    Page(name="tablet-car-held", who="valeter", address="/tablet/cars/{held_car}"),
    Page(name="tablet-car-curing", who="manager", address="/tablet/cars/{curing_car}"),
    Page(name="tablet-car-ready", who="valeter", address="/tablet/cars/{ready_car}"),
    Page(name="tablet-car-asked", who="valeter", address="/tablet/cars/{asked_car}"),
    Page(name="tablet-finding", who="valeter", address="/tablet/cars/{car}/finding"),
    Page(name="tablet-paint", who="valeter", address="/tablet/cars/{car}/paint"),
    Page(name="tablet-paint-empty", who="valeter", address="/tablet/cars/{ready_car}/paint"),
)
