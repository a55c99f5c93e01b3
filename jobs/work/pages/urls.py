"""Addresses of pages."""

from django.urls import URLPattern

from jobs.work.pages.desk import (
    catalogue_urls,
    climate_urls,
    durations_urls,
    flow_urls,
    products_urls,
)
from jobs.work.pages.desk import urls as desk
from jobs.work.pages.tablet import urls as tablet

urlpatterns: list[URLPattern] = [
    *tablet.urlpatterns,
    *desk.urlpatterns,
    *catalogue_urls.urlpatterns,
    *climate_urls.urlpatterns,
    *products_urls.urlpatterns,
    *durations_urls.urlpatterns,
    *flow_urls.urlpatterns,
]
