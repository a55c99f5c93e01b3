"""Work orders and the cars' way through the workshop."""
