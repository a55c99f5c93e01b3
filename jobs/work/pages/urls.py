"""Addresses of pages."""

from jobs.work.pages.tablet import urls as tablet

urlpatterns = [*tablet.urlpatterns]
