"""The service's own settings, with the bare views beside it on the same server."""

from core.settings import *  # noqa: F403

ROOT_URLCONF = "tests.bench.urls"
REQUESTS_PER_MINUTE = 100_000_000
