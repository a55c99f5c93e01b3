"""What may be sent of photographs."""
