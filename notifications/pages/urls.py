"""Addresses of the pages about notices."""

from django.urls import path

from accounts.pages.session import Home

urlpatterns = [
    path("notices/", Home.as_view(), name="notices"),
]
