"""The project's settings with the app that takes the end of a run away."""

from core.settings import *  # noqa: F403
from core.settings import INSTALLED_APPS as OURS

INSTALLED_APPS = [*OURS, "tests.reliability.endless_runs.apps.EndlessRuns"]
