"""Addresses of the workshop's desk."""

from django.urls import path

from accounts.pages.session import Home

urlpatterns = [
    path("desk/", Home.as_view(), name="desk"),
    path("desk/waiting", Home.as_view(), name="desk_waiting"),
    path("desk/due", Home.as_view(), name="desk_due"),
    path("desk/log", Home.as_view(), name="desk_log"),
]
