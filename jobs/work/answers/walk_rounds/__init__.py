"""Answers about walk-rounds."""
