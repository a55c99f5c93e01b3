"""A job in words: its history, and how it stands."""
