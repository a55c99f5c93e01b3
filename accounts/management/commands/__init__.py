"""`manage.py` commands that make organisations, people and keys."""
