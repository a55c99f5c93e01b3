"""Reads for retention: terms, what they are over for, whose rows are whose."""
