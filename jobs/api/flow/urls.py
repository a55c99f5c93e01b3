"""Addresses: where cars wait, over HTTP."""

from django.urls import URLPattern

urlpatterns: list[URLPattern] = []
