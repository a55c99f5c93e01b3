"""Addresses of how long work takes."""

from django.urls import URLPattern

urlpatterns: list[URLPattern] = []
