"""Addresses: how long work takes over HTTP, how dirty a car came in, and minutes in doubt."""

from django.urls import URLPattern

urlpatterns: list[URLPattern] = []
