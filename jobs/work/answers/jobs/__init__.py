"""Answers: jobs."""
