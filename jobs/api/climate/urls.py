"""Addresses: the air over HTTP: readings, the forecast, what a workshop chose."""

from django.urls import URLPattern

urlpatterns: list[URLPattern] = []
