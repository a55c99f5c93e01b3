"""Addresses: the air over HTTP: readings, the forecast, what a workshop chose."""

from django.urls import URLPattern, path

from jobs.work.api.climate import views

urlpatterns: list[URLPattern] = [
    path("workshop/climate", views.Climate.as_view()),
    path("workshop/climate/setup", views.ClimateSetupDetail.as_view()),
]
