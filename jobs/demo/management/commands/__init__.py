"""Commands of the core."""
