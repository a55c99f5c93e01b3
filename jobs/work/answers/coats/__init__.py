"""Answers: coats."""
