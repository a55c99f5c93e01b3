"""What of a clock counts as worked, and how agreed time is shared."""
