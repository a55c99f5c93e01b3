"""Tests in a real browser, against the real service."""
