"""Findings and phrases."""
