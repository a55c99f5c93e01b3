"""Tasks, and what keeps them in step with the order."""
