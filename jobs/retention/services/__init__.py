"""Everything that deletes for good: what a term is over for, and what somebody asked for."""
