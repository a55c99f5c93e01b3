"""The one way a job changes."""
