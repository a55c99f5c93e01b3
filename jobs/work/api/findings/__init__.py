"""Findings, belongings, ready phrases and walk-rounds over HTTP."""
