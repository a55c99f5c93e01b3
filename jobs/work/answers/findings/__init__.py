"""Answers: findings."""
