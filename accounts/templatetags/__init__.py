"""Tags for pages of whoever is signed in."""
