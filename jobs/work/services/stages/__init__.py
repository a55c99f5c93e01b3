"""The car's way, and its correction."""
