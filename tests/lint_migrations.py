"""Says whether the release before could still work while a migration runs.

`python -m tests.lint_migrations` looks at those made since this was asked: add a column that may
be empty (or has a default of the database's), fill it in batches, ask for it later; make indexes
beside the work. On PostgreSQL where one answers, whose statements and locks it is about; on SQLite
elsewhere.
"""

import os
import sys

from tests.servers import postgres_url

# The last of each app from before: they stay as they are, and were looked at by trying.
SETTLED = {
    "core": "0001_initial",
    "accounts": "0006_tablets_of_heads",
    "jobs": "0016_history_stays",
    "notifications": "0004_feed_end",
    "retention": "",  # all of them are from since then
}


def main() -> int:
    """Print what is wrong with each migration, and return 1 where anything is."""
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "core.settings")
    os.environ.setdefault("SHUTLINE_LOG_LEVEL", "WARNING")
    if url := postgres_url():
        os.environ["DATABASE_URL"] = url

    import django  # noqa: PLC0415  it reads the settings made above

    django.setup()
    from django.db import connection  # noqa: PLC0415  the same
    from django.db.migrations.loader import MigrationLoader  # noqa: PLC0415  the same
    from django_migration_linter import MigrationLinter  # noqa: PLC0415  the same

    linter = MigrationLinter(no_cache=True, all_warnings_as_errors=True)
    migrations = MigrationLoader(connection).disk_migrations
    for (app, name), migration in sorted(migrations.items()):
        if app in SETTLED and name > SETTLED[app]:
            linter.lint_migration(migration)
    return int(linter.has_errors)


if __name__ == "__main__":
    sys.exit(main())
