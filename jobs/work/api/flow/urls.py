"""Addresses: where cars wait, over HTTP."""

from django.urls import path

from jobs.work.api.flow import views

urlpatterns = [
    path("flow", views.Flow.as_view()),
    path("flow.csv", views.FlowSheet.as_view()),
]
