"""The API of this app."""
