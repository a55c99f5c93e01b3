"""Minutes are counted and confirmed."""
