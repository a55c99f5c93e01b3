"""Answers: products."""
