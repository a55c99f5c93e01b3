"""Work orders and lists of them."""
