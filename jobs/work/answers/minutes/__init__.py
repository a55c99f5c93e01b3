"""Answers: minutes."""
