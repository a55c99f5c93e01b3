"""What paint readings say, and what the paint can stand."""
