"""Addresses of a workshop's products."""

from django.urls import URLPattern

urlpatterns: list[URLPattern] = []
