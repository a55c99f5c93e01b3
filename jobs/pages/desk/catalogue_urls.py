"""Addresses of what a workshop sets up about its work."""

from django.urls import path

from accounts.pages.session import Home

urlpatterns = [
    path("desk/set-up", Home.as_view(), name="desk_set_up"),
]
