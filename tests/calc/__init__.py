"""Checks of the trade sums against outside values, each with its source beside it."""
