"""Addresses of the workshop's desk."""

from django.urls import path

from jobs.work.pages.desk import (
    acts,
    asks,
    board,
    car,
    correction,
    day_log,
    due,
    found_acts,
    stop_acts,
    waiting,
)

CAR = "desk/cars/<uuid:job_id>"
REQUEST = f"{CAR}/requests/<uuid:request_id>"

urlpatterns = [
    path("desk/", board.Desk.as_view(), name="desk"),
    path("desk/cars", board.DeskCars.as_view(), name="desk_cars"),
    path("desk/over", board.DeskGone.as_view(), name="desk_gone"),
    path("desk/waiting", waiting.DeskWaiting.as_view(), name="desk_waiting"),
    path("desk/due", due.DeskDue.as_view(), name="desk_due"),
    path("desk/log", day_log.DeskLog.as_view(), name="desk_log"),
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
    path(f"{CAR}/requests", asks.Ask.as_view(), name="desk_ask"),
    path(f"{REQUEST}/reply", asks.Reply.as_view(), name="desk_reply"),
    path(f"{REQUEST}/withdraw", asks.Withdraw.as_view(), name="desk_withdraw"),
]
