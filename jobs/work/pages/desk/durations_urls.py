"""Addresses of how long work takes."""

from django.urls import URLPattern, path

from jobs.work.pages.desk import durations, estimate

urlpatterns: list[URLPattern] = [
    path("desk/durations", durations.DeskDurations.as_view(), name="desk_durations"),
    path("desk/cars/<uuid:job_id>/estimate", estimate.DeskEstimate.as_view(), name="desk_estimate"),
    path(
        "desk/cars/<uuid:job_id>/tasks/<uuid:task_id>/minutes",
        durations.DeskMinutes.as_view(),
        name="desk_minutes",
    ),
]
