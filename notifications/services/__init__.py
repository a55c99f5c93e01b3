"""Everything that changes events, endpoints and deliveries."""
