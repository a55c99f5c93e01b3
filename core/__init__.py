"""What every app stands on; knows nothing of cars."""
