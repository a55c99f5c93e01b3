"""The service's own settings, with the bare views and the long work beside it."""

from core.settings import *  # noqa: F403
from core.settings import INSTALLED_APPS as OURS

INSTALLED_APPS = [*OURS, "tests.reliability.long_work"]
ROOT_URLCONF = "tests.bench.urls"
REQUESTS_PER_MINUTE = 100_000_000
