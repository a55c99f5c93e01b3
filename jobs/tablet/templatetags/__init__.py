"""The tag of the tablet's forms."""
