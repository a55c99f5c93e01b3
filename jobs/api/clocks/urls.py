"""Addresses: what cures and dries on a car over HTTP, and the touch test."""

from django.urls import URLPattern

urlpatterns: list[URLPattern] = []
