"""Addresses: a workshop's products over HTTP, and that one was applied."""

from django.urls import URLPattern

urlpatterns: list[URLPattern] = []
