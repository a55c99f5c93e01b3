"""Addresses of refinishing."""

from django.urls import path

from jobs.work.api.refinishing import views

urlpatterns = [
    path("refinishing-steps", views.RefinishingSteps.as_view()),
    path("jobs/<uuid:job_id>/coats", views.JobCoats.as_view()),
    path("jobs/<uuid:job_id>/tasks/<uuid:task_id>/coats", views.TaskCoats.as_view()),
    path("jobs/<uuid:job_id>/supplied", views.Supplied.as_view()),
]
