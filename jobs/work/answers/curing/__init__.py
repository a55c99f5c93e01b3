"""Answers: curing."""
