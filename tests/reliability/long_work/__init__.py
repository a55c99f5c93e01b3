"""A service with work that lasts until a test lets it end."""
