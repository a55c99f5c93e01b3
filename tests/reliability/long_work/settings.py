"""The project's settings with one app more, whose task lasts until a test lets it end."""

from core.settings import *  # noqa: F403
from core.settings import INSTALLED_APPS as OURS

INSTALLED_APPS = [*OURS, "tests.reliability.long_work"]
