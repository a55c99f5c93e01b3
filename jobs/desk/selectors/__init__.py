"""What the desk reads of the cars."""
