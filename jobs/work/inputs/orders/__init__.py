"""What a dealer sends about an order."""
