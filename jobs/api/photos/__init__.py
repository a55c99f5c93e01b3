"""Photographs over HTTP."""
