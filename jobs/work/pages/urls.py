"""Addresses of pages."""

from django.urls import path

from jobs.work.pages.dashboard import urls as dashboard
from jobs.work.pages.decision import DecisionPage, DecisionPhoto
from jobs.work.pages.desk import (
    catalogue_urls,
    climate_urls,
    durations_urls,
    flow_urls,
    products_urls,
)
from jobs.work.pages.desk import urls as desk
from jobs.work.pages.tablet import urls as tablet

urlpatterns = [
    path("decide/<str:token>", DecisionPage.as_view(), name="decision"),
    path(
        "decide/<str:token>/photos/<uuid:photo_id>/<int:size>",
        DecisionPhoto.as_view(),
        name="decision_photo",
    ),
    *tablet.urlpatterns,
    *dashboard.urlpatterns,
    *desk.urlpatterns,
    *catalogue_urls.urlpatterns,
    *climate_urls.urlpatterns,
    *products_urls.urlpatterns,
    *durations_urls.urlpatterns,
    *flow_urls.urlpatterns,
]
