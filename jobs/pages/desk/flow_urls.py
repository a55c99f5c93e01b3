"""Addresses of where cars wait."""

from django.urls import URLPattern

urlpatterns: list[URLPattern] = []
