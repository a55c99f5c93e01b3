"""`manage.py` commands for terms, the sweep, cars that are kept, export and erasure."""
