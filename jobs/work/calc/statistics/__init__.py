"""Statistics that know nothing of cars."""
