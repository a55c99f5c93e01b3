"""`manage.py serve`, and others to come."""
