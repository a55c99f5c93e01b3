"""Clocks of what cures and dries."""
