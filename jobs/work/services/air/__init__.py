"""Readings and forecasts are taken in."""
