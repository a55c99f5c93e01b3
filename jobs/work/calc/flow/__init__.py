"""Where a car's time went."""
