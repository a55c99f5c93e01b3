"""Addresses of where cars wait."""

from django.urls import path

from jobs.work.pages.desk import flow

urlpatterns = [
    path("desk/flow", flow.DeskFlow.as_view(), name="desk_flow"),
    path("desk/flow.csv", flow.DeskFlowSheet.as_view(), name="desk_flow_csv"),
]
