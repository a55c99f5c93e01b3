"""Addresses of paint."""

from django.urls import path

from jobs.work.api.paint import views

urlpatterns = [
    path("jobs/<uuid:job_id>/paint", views.Paint.as_view()),
    path("jobs/<uuid:job_id>/paint.svg", views.PaintPicture.as_view()),
    path("jobs/<uuid:job_id>/paint-readings", views.PaintReadings.as_view()),
    path(
        "jobs/<uuid:job_id>/paint-readings/<uuid:reading_id>/set-aside",
        views.PaintReadingSetAside.as_view(),
    ),
    path("jobs/<uuid:job_id>/paint-films", views.FilmChecks.as_view()),
    path("jobs/<uuid:job_id>/paint-tests", views.PaintTests.as_view()),
    path(
        "jobs/<uuid:job_id>/paint-tests/<uuid:test_id>/set-aside",
        views.PaintTestSetAside.as_view(),
    ),
    path("jobs/<uuid:job_id>/paint-passes", views.PaintPasses.as_view()),
    path(
        "jobs/<uuid:job_id>/paint-passes/<uuid:passes_id>/set-aside",
        views.PaintPassesSetAside.as_view(),
    ),
]
