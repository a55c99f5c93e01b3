"""The workshop's desk."""

from tests.browser.pages_list import Page

PAGES: tuple[Page, ...] = (
    Page(name="desk", who="manager", address="/desk/"),
    Page(name="desk-held", who="owner", address="/desk/?held=on"),
    Page(name="desk-nothing-fits", who="manager", address="/desk/?search=UX99"),
    Page(name="desk-over", who="manager", address="/desk/over"),
    Page(name="desk-waiting", who="manager", address="/desk/waiting"),
    Page(name="desk-due", who="owner", address="/desk/due"),
    Page(name="desk-log", who="manager", address="/desk/log"),
    Page(name="desk-car", who="manager", address="/desk/cars/{car}"),
    Page(name="desk-car-ready", who="manager", address="/desk/cars/{ready_car}"),
    Page(name="desk-car-held", who="manager", address="/desk/cars/{held_car}"),
    Page(name="desk-car-asked", who="manager", address="/desk/cars/{asked_car}"),
    Page(name="desk-car-coming", who="manager", address="/desk/cars/{coming_car}"),
    Page(name="desk-decline", who="manager", address="/desk/cars/{asked_car}/decline"),
    Page(name="desk-move", who="manager", address="/desk/cars/{curing_car}/move"),
    Page(name="desk-move-held", who="manager", address="/desk/cars/{held_car}/move"),
    Page(name="desk-hold", who="manager", address="/desk/cars/{car}/hold"),
    Page(name="desk-ask", who="manager", address="/desk/cars/{car}/requests"),
    Page(
        name="desk-withdraw",
        who="manager",
        address="/desk/cars/{car}/requests/{request}/withdraw",
    ),
    Page(name="desk-collection", who="manager", address="/desk/cars/{ready_car}/collection"),
    Page(name="desk-release", who="manager", address="/desk/cars/{held_car}/holds/{hold}/release"),
    Page(name="desk-correct", who="manager", address="/desk/cars/{ready_car}/correction"),
    Page(name="desk-clear", who="manager", address="/desk/cars/{car}/findings/{finding}/clear"),
    Page(
        name="desk-withdraw-finding",
        who="manager",
        address="/desk/cars/{car}/findings/{finding}/withdraw",
    ),
    Page(name="desk-told", who="manager", address="/desk/cars/{car}/findings/{finding}/told"),
    Page(
        name="desk-give-back",
        who="manager",
        address="/desk/cars/{held_car}/belongings/{belonging}/back",
    ),
    Page(
        name="desk-reply",
        who="manager",
        address="/desk/cars/{held_car}/requests/{asked_about}/reply",
    ),
)
