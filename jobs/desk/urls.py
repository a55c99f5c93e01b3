"""Addresses of the workshop's desk."""

from django.urls import URLPattern, path

from jobs.desk import (
    acts,
    board,
    car,
    correction,
    due,
    estimate,
    flow,
    found_acts,
    log,
    minutes,
    requests,
    stop_acts,
    waiting,
)
from jobs.desk.air import DeskClimate, DeskClimateSetup
from jobs.desk.catalogue import (
    SetUp,
    Shelf,
    ShelfEntry,
    ShelfHide,
    ShelfList,
    ShelfNew,
    ShelfRemove,
)
from jobs.desk.catalogue_operations import Operations, Packages
from jobs.desk.catalogue_phrases import Phrases
from jobs.desk.curing import TouchTest
from jobs.desk.products import DeskProduct, DeskProductHide, DeskProductNew, DeskProducts

CAR = "desk/cars/<uuid:job_id>"
REQUEST = f"{CAR}/requests/<uuid:request_id>"
PRODUCT = "desk/products/<uuid:product_id>"


def _shelf(shelf: Shelf, place: str) -> list[URLPattern]:
    """Return the addresses of one shelf; `place` is what its code is called in them."""
    base, name = f"desk/{shelf.many}", f"desk_{shelf.one}"
    address = f"{base}/<str:{place}>"
    return [
        path(base, ShelfList.as_view(shelf=shelf), name=f"desk_{shelf.many}"),
        path(f"desk/new-{shelf.one}", ShelfNew.as_view(shelf=shelf), name=f"{name}_new"),
        path(address, ShelfEntry.as_view(shelf=shelf), name=name),
        path(f"{address}/hide", ShelfHide.as_view(shelf=shelf), name=f"{name}_hide"),
        path(f"{address}/remove", ShelfRemove.as_view(shelf=shelf), name=f"{name}_remove"),
    ]


urlpatterns: list[URLPattern] = [
    path("desk/", board.Desk.as_view(), name="desk"),
    path("desk/cars", board.DeskCars.as_view(), name="desk_cars"),
    path("desk/over", board.DeskGone.as_view(), name="desk_gone"),
    path("desk/waiting", waiting.DeskWaiting.as_view(), name="desk_waiting"),
    path("desk/due", due.DeskDue.as_view(), name="desk_due"),
    path("desk/log", log.DeskLog.as_view(), name="desk_log"),
    path(CAR, car.DeskCarPage.as_view(), name="desk_car"),
    path(f"{CAR}/accept", acts.Accept.as_view(), name="desk_accept"),
    path(f"{CAR}/decline", acts.Decline.as_view(), name="desk_decline"),
    path(f"{CAR}/arrival", acts.Arrive.as_view(), name="desk_arrive"),
    path(f"{CAR}/move", acts.Move.as_view(), name="desk_move"),
    path(f"{CAR}/collection", acts.Collect.as_view(), name="desk_collect"),
    path(f"{CAR}/correction", correction.Correct.as_view(), name="desk_correct"),
    path(f"{CAR}/hold", acts.PutOnHold.as_view(), name="desk_hold"),
    path(f"{CAR}/holds/<uuid:hold_id>/release", acts.Release.as_view(), name="desk_release"),
    path(f"{CAR}/changes/<int:number>/seen", acts.SeeChange.as_view(), name="desk_seen"),
    path(f"{CAR}/findings/<uuid:finding_id>/told", found_acts.Told.as_view(), name="desk_told"),
    path(f"{CAR}/findings/<uuid:finding_id>/clear", stop_acts.Clear.as_view(), name="desk_clear"),
    path(
        f"{CAR}/findings/<uuid:finding_id>/withdraw",
        stop_acts.WithdrawStop.as_view(),
        name="desk_withdraw_stop",
    ),
    path(
        f"{CAR}/belongings/<uuid:belonging_id>/back",
        found_acts.GiveBack.as_view(),
        name="desk_give_back",
    ),
    path(f"{CAR}/requests", requests.Ask.as_view(), name="desk_ask"),
    path(f"{REQUEST}/reply", requests.Reply.as_view(), name="desk_reply"),
    path(f"{REQUEST}/withdraw", requests.Withdraw.as_view(), name="desk_withdraw"),
    path("desk/set-up", SetUp.as_view(), name="desk_set_up"),
    *_shelf(Operations(), "operation_code"),
    *_shelf(Packages(), "package_code"),
    *_shelf(Phrases(), "code"),
    path("desk/climate", DeskClimate.as_view(), name="desk_climate"),
    path("desk/climate/set-up", DeskClimateSetup.as_view(), name="desk_climate_set_up"),
    path(
        f"{CAR}/clocks/<uuid:clock_id>/touch-test",
        TouchTest.as_view(),
        name="desk_touch_test",
    ),
    path("desk/products", DeskProducts.as_view(), name="desk_products"),
    path("desk/new-product", DeskProductNew.as_view(), name="desk_product_new"),
    path(PRODUCT, DeskProduct.as_view(), name="desk_product"),
    path(f"{PRODUCT}/hide", DeskProductHide.as_view(), name="desk_product_hide"),
    path("desk/durations", minutes.DeskDurations.as_view(), name="desk_durations"),
    path(f"{CAR}/estimate", estimate.DeskEstimate.as_view(), name="desk_estimate"),
    path(
        f"{CAR}/tasks/<uuid:task_id>/minutes",
        minutes.DeskMinutes.as_view(),
        name="desk_minutes",
    ),
    path("desk/flow", flow.DeskFlow.as_view(), name="desk_flow"),
    path("desk/flow.csv", flow.DeskFlowSheet.as_view(), name="desk_flow_csv"),
]
