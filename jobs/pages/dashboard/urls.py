"""Addresses of the dealer's dashboard."""

from django.urls import path

from accounts.pages.session import Home

urlpatterns = [
    path("dashboard/", Home.as_view(), name="dashboard"),
    path("dashboard/new", Home.as_view(), name="order_new"),
]
