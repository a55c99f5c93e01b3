"""The tests, laid out like the project."""
