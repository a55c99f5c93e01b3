"""Sentences for people, from codes and figures."""
