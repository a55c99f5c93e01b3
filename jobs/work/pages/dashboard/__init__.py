"""The dealer's dashboard."""
