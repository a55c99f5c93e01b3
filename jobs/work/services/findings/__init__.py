"""What was found on a car."""
