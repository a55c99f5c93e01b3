"""Addresses of photos."""

from django.urls import URLPattern, path

from jobs.work.api.photos import views

urlpatterns: list[URLPattern] = [
    path("jobs/<uuid:job_id>/photos", views.JobPhotos.as_view()),
    path("photos/<uuid:photo_id>/<str:size>", views.PhotoFile.as_view()),
]
