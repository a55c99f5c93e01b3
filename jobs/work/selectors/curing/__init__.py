"""What cures and dries, as it stands."""
