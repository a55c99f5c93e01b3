"""Addresses of jobs."""

from django.urls import URLPattern, path

urlpatterns: list[URLPattern] = []
