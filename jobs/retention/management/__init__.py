"""What the operator runs: see `commands`."""
