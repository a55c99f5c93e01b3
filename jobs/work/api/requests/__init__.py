"""Requests for extra work, the dealer's answers, and changes seen by the valeter."""
