"""Answers: photographs."""
