"""Answers: requests."""
