"""Jobs as a caller may see them."""
