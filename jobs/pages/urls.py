"""Addresses of pages."""

from django.urls import path

from jobs.pages.decision import DecisionPage, DecisionPhoto

urlpatterns = [
    path("decide/<str:token>", DecisionPage.as_view(), name="decision"),
    path(
        "decide/<str:token>/photos/<uuid:photo_id>/<int:size>",
        DecisionPhoto.as_view(),
        name="decision_photo",
    ),
]
