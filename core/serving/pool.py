"""PostgreSQL connections of a web process: a pool, bounded by what its threads can use at once.

Only web processes have one. A worker's process has one thread that asks the database, or two, and
so nothing to share; and it is forked, which a pool does not outlive.
"""

from typing import Any

from django.conf import settings

# A connection that nobody needs for so long is closed, but for the least.
IDLE_SECONDS = 300
LEAST = 1
# One that is this old is made anew, so that a changed password or server is noticed.
LIFETIME_SECONDS = 3600
# How long a thread waits for one: as long as for a lock.
WAIT_SECONDS = 5
# How long it goes on trying by itself. Each thread that asks makes it try anew, and at once; left
# to itself for minutes it would pause for minutes, with the server long back.
TRYING_SECONDS = 2
# A scrape of the numbers has a thread beside those of requests.
BESIDE_REQUESTS = 1


def pooled(database: dict[str, Any]) -> dict[str, Any]:
    """Return a database's settings for a web process; on SQLite they stay as they are.

    The pool looks at each connection before it lends it, so that after a restart of the server
    nobody gets one that is broken.
    """
    if database["ENGINE"] != "django.db.backends.postgresql":
        return database
    pool = {
        "name": "web",
        "min_size": LEAST,
        "max_size": settings.WEB_CONNECTIONS + BESIDE_REQUESTS,
        "timeout": WAIT_SECONDS,
        "reconnect_timeout": TRYING_SECONDS,
        "max_idle": IDLE_SECONDS,
        "max_lifetime": LIFETIME_SECONDS,
    }
    options = {**database["OPTIONS"], "pool": pool}
    return {**database, "CONN_MAX_AGE": 0, "CONN_HEALTH_CHECKS": True, "OPTIONS": options}
