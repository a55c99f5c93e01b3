"""Addresses of how long work takes."""

from django.urls import URLPattern, path

from jobs.work.api.durations import views

urlpatterns: list[URLPattern] = [
    path("soiling-levels", views.SoilingLevels.as_view()),
    path("workshop/durations", views.WorkshopDurations.as_view()),
    path("jobs/<uuid:job_id>/estimate", views.JobEstimate.as_view()),
    path("jobs/<uuid:job_id>/soiling", views.JobSoiling.as_view()),
    path("jobs/<uuid:job_id>/tasks/<uuid:task_id>/minutes", views.TaskMinutes.as_view()),
]
