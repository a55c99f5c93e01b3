"""Addresses of the tablet."""

from django.urls import path

from accounts.pages.session import Home

urlpatterns = [
    path("tablet/", Home.as_view(), name="tablet"),
]
