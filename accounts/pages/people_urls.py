"""Addresses of the pages about people, dealers and keys."""

from django.urls import path

from accounts.pages.session import Home

urlpatterns = [
    path("keys", Home.as_view(), name="keys"),
    path("tablet/who", Home.as_view(), name="tablet_who"),
]
