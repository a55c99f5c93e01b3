"""The workshop's desk."""
