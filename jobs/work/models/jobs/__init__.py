"""A job, its history, and what is noted about a car."""
