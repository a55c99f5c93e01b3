"""Answers about work orders."""
