"""What the tablet reads of the cars."""
