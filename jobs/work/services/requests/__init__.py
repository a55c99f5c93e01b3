"""Requests for extra work."""
