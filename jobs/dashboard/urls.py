"""Addresses of the dealer's pages."""

from django.urls import path

from jobs.dashboard.board import Dashboard, DashboardBoard, DashboardSeen
from jobs.dashboard.decision import DecisionPage, DecisionPhoto
from jobs.dashboard.imports import ImportGoOn, ImportNew, ImportPage, ImportRefused
from jobs.dashboard.orders import OrderCancel, OrderChangePage, OrderNew
from jobs.dashboard.over import FindingOver
from jobs.dashboard.story import CarPage, FindingSeen, FindingsSeen, RequestAnswered

urlpatterns = [
    path("decide/<str:token>", DecisionPage.as_view(), name="decision"),
    path(
        "decide/<str:token>/photos/<uuid:photo_id>/<int:size>",
        DecisionPhoto.as_view(),
        name="decision_photo",
    ),
    path("dashboard/", Dashboard.as_view(), name="dashboard"),
    path("dashboard/board", DashboardBoard.as_view(), name="dashboard_part"),
    path("dashboard/seen", DashboardSeen.as_view(), name="dashboard_seen"),
    path("dashboard/cars/<uuid:job_id>", CarPage.as_view(), name="dashboard_car"),
    path(
        "dashboard/cars/<uuid:job_id>/acknowledge",
        FindingsSeen.as_view(),
        name="dashboard_acknowledge_all",
    ),
    path(
        "dashboard/findings/<uuid:finding_id>/acknowledge",
        FindingSeen.as_view(),
        name="dashboard_acknowledge",
    ),
    path(
        "dashboard/findings/<uuid:finding_id>/clear",
        FindingOver.as_view(),
        name="dashboard_clear",
    ),
    path(
        "dashboard/requests/<uuid:request_id>/answer",
        RequestAnswered.as_view(),
        name="dashboard_answer",
    ),
    path("dashboard/new", OrderNew.as_view(), name="order_new"),
    path("dashboard/cars/<uuid:job_id>/change", OrderChangePage.as_view(), name="order_change"),
    path("dashboard/cars/<uuid:job_id>/cancel", OrderCancel.as_view(), name="order_cancel"),
    path("dashboard/imports/new", ImportNew.as_view(), name="order_import_new"),
    path("dashboard/imports/<uuid:import_id>", ImportPage.as_view(), name="order_import"),
    path(
        "dashboard/imports/<uuid:import_id>/go-on",
        ImportGoOn.as_view(),
        name="order_import_go_on",
    ),
    path(
        "dashboard/imports/<uuid:import_id>/refused.csv",
        ImportRefused.as_view(),
        name="order_import_csv",
    ),
]
