"""What may be sent of the air."""
