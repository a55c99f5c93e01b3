"""Signing in, keys and trade accounts over HTTP."""
