"""Addresses: what cures and dries on a car over HTTP, and the touch test."""

from django.urls import URLPattern, path

from jobs.work.api.clocks import views

urlpatterns: list[URLPattern] = [
    path("jobs/<uuid:job_id>/waits", views.Waits.as_view()),
    path("jobs/<uuid:job_id>/clocks/<uuid:clock_id>/touch-tests", views.TouchTests.as_view()),
    path("jobs/<uuid:job_id>/uses", views.ProductUses.as_view()),
]
