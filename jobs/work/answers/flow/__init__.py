"""Answers: flow."""
