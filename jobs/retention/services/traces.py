"""What a database keeps of deleted rows in its own file.

SQLite writes nothing over what was deleted unless it is told to (`secure_delete`, set in
`core/settings.py`), and its journal has it until it is written back. PostgreSQL's own clean-up
(autovacuum) does it in its time.
"""

from django.db import connection


def traces_forget() -> None:
    """Have SQLite write its journal back and empty it; somebody who reads may keep it a while."""
    if connection.vendor == "sqlite" and not connection.in_atomic_block:
        with connection.cursor() as cursor:
            cursor.execute("PRAGMA wal_checkpoint(TRUNCATE)")
