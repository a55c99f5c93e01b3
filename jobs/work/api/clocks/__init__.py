"""What cures and dries on a car over HTTP, and the touch test."""
