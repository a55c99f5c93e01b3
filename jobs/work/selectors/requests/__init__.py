"""Requests for extra work, as they may be seen."""
