"""Where cars' time went."""
