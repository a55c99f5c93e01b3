"""Addresses of the air, as the desk sees it."""

from django.urls import URLPattern

urlpatterns: list[URLPattern] = []
