"""Answers: paint."""
