"""The API, a file for each thing it does."""
