"""Coats, flash-off timers and what the dealer supplied."""
