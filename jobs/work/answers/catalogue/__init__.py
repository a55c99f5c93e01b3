"""Answers: catalogue."""
