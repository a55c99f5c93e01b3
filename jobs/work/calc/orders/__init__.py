"""What identifies a vehicle on an order."""
