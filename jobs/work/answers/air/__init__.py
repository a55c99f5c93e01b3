"""Answers: air."""
